"""A holding typed into the wrong assembly is put right, and the old record stays readable.

That a technical record keeps its original entry, the correction, its date and who made it:
ISO/IEC 17025:2017, 7.5.2, from memory.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref

HELD = {
    "assembly": "ADP",
    "part": "PIN",
    "from": "2025-01-15T00:00:00Z",
    "until": "2025-03-01T00:00:00Z",
    "note": "left",
}
SAID = {"by": "M. Tarn", "reason": "the log says the other clevis"}


@pytest.fixture
def held(client):
    """PIN in ADP; K-1 used ADP and K-2 used ADP-2 while it was there."""
    made = lab(
        cal("K-1", "A", "02-01", [ref("REF"), ref("ADP", role="adapter")]),
        cal("K-2", "B", "02-02", [ref("REF"), ref("ADP-2", role="adapter")]),
        composition=[HELD],
    )
    made["items"].append({"id": "PIN", "kind": "adapter_part"})
    assert client.post("/v1/imports", json=made).status_code == 201
    return client


def correct(client, key=1, **changes):
    return client.post(f"/v1/compositions/{key}/corrections", json=SAID | changes)


def affected(client):
    fault = force_fault("PIN", kind="unknown")
    fault.pop("delta_rel")
    shown = client.post("/v1/recalls", json={"fault": fault, "preview": True}).get_json()
    return [one["certificate"] for one in shown["indeterminate"]]


def test_the_wrong_assembly_is_put_right_for_whatever_is_asked_later(held):
    assert affected(held) == ["K-1"]
    answer = correct(held, assembly="ADP-2", until=None, share="0.50")
    assert answer.status_code == 201, answer.text
    shown = answer.get_json()
    assert (shown["assembly"], shown["until"], shown["share"]) == ("ADP-2", None, "0.50")
    (kept,) = shown["corrections"]
    assert kept["before"] == HELD
    without_end = {name: value for name, value in HELD.items() if name != "until"}
    assert kept["after"] == without_end | {"assembly": "ADP-2", "share": "0.50"}
    assert (kept["by"], kept["reason"]) == (SAID["by"], SAID["reason"])
    assert held.get("/v1/compositions/1").get_json() == shown
    assert held.get("/v1/compositions").get_json()["items"][0] == shown
    assert affected(held) == ["K-2"]


def test_a_withdrawn_holding_holds_nothing_and_comes_back(held):
    assert correct(held, withdrawn=True).get_json()["withdrawn"] is True
    assert affected(held) == []
    assert "withdrawn" not in correct(held, withdrawn=False).get_json()
    assert affected(held) == ["K-1"]


def test_a_change_of_the_holding_changes_its_tag(held):
    before = held.get("/v1/compositions/1").headers["ETag"]
    assert correct(held, until="2025-04-01").headers["ETag"] != before


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"by": None}, "/by"),
        ({"reason": ""}, "/reason"),
        ({"share": "0"}, "/share"),
        ({"share": "1.01"}, "/share"),
        ({"until": "2025-01-15T00:00:00Z"}, "/until"),
        ({"from": "2025-03-01T00:00:00Z"}, "/until"),
        ({"from": "2025-01-15T00:00:00"}, "/from"),
        ({"part": "NONE"}, "/part"),
        ({"assembly": "ADP"}, ""),
        ({"part": "ADP"}, ""),
        ({}, ""),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_changed(held, changes, pointer):
    body = {name: value for name, value in (SAID | changes).items() if value is not None}
    answer = held.post("/v1/compositions/1/corrections", json=body)
    assert answer.status_code == 422, answer.text
    assert [one["pointer"] for one in answer.get_json()["errors"]] == [pointer]
    assert "corrections" not in held.get("/v1/compositions/1").get_json()


def test_a_holding_that_is_recorded_by_itself_is_not_made_twice(held):
    held.post("/v1/compositions", json=HELD | {"assembly": "ADP-2"})
    assert correct(held, assembly="ADP-2").status_code == 409
    assert correct(held, key=9, assembly="ADP-2").status_code == 404


def test_the_file_it_came_from_and_a_file_that_was_mended_are_both_unchanged(held):
    assert correct(held, assembly="ADP-2").status_code == 201
    for sent in (HELD, HELD | {"assembly": "ADP-2"}):
        answer = held.post("/v1/imports", json={"composition": [sent]})
        assert answer.get_json()["unchanged"]["composition"] == 1, answer.text
        again = held.post("/v1/compositions", json=sent)
        assert (again.status_code, again.get_json()["id"]) == (200, 1)
    other = HELD | {"assembly": "ADP-2", "until": "2025-09-01"}
    assert held.post("/v1/compositions", json=other).status_code == 409


def test_the_journal_names_who_corrected_what(held):
    correct(held, until="2025-04-01")
    last = held.get("/v1/journal").get_json()["items"][0]
    (fact,) = last["facts"]
    assert (fact["what"], fact["by"], fact["id"]) == ("holding corrected", SAID["by"], 1)
    assert fact["changed"] == ["until"]
