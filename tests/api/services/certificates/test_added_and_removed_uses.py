"""A forgotten use is added, a wrong one taken out or replaced; each stays readable with its reason.

That a technical record keeps its original entry and who corrected it: ISO/IEC 17025:2017, 7.5.2,
from memory.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref

SAID = {"by": "M. Tarn", "reason": "the work sheet says otherwise"}


@pytest.fixture
def used(client):
    """K used REF and WS at two positions; W calibrated WS before, and another item P is there."""
    made = lab(
        cal("W", "WS", "01-10", [ref("REF")]),
        cal("K", "A", "02-01", [ref("REF"), ref("WS", "0.5")]),
        cal("P-1", "P", "01-05", []),
    )
    assert client.post("/v1/imports", json=made).status_code == 201
    return client


def add(client, number="K", query="", **body):
    return client.post(f"/v1/certificates/{number}/uses{query}", json=SAID | body)


def correct(client, position, number="K", **body):
    return client.post(f"/v1/certificates/{number}/uses/{position}/corrections", json=SAID | body)


def items(shown):
    return [use["item"] for use in shown["uses"]]


def test_a_forgotten_use_is_added_and_resolved(used):
    answer = add(used, use=ref("P", role="adapter"))
    assert answer.status_code == 201, answer.text
    shown = answer.get_json()
    assert items(shown) == ["REF", "WS", "P"]
    assert shown["uses"][2]["in_force"] == {"certificate": "P-1", "revision": 0}
    (kept,) = shown["use_corrections"]
    assert (kept["position"], kept["before"], kept["after"]["item"]) == (2, None, "P")
    assert (kept["by"], kept["reason"]) == (SAID["by"], SAID["reason"])
    assert shown["corrections"] == shown["use_corrections"]
    assert used.get("/v1/certificates/K").get_json() == shown


def test_a_use_is_taken_out_only_if_that_is_said(used):
    answer = correct(used, 0)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == "/use"
    assert "null" in error["detail"]


def test_a_wrong_use_is_taken_out_and_the_others_keep_their_positions(used):
    answer = correct(used, 0, use=None)
    assert answer.status_code == 201, answer.text
    shown = answer.get_json()
    assert [(use["item"], use.get("position")) for use in shown["uses"]] == [("WS", 1)]
    (kept,) = shown["use_corrections"]
    assert (kept["before"]["item"], kept["after"]) == ("REF", None)
    # The next one is told by its own position, and a new one never takes that of another.
    assert correct(used, 0, use=None).status_code == 422
    assert items(correct(used, 1, use=ref("P")).get_json()) == ["P"]
    assert correct(used, 1, use=None).status_code == 201
    added = add(used, use=ref("REF")).get_json()
    assert [(use["item"], use["position"]) for use in added["uses"]] == [("REF", 2)]
    assert len(added["use_corrections"]) == 4


@pytest.mark.parametrize("body", [{"use": None}, {"use": ref("P")}])
def test_there_is_nothing_to_correct_at_another_position(used, body):
    answer = correct(used, 2, **body)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == "/position"
    assert ".../uses" in error["remedy"]


@pytest.mark.parametrize("send", [add, lambda client, **body: correct(client, 0, **body)])
@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"use": ref("P"), "by": ""}, "/by"),
        ({"use": ref("P"), "reason": " "}, "/reason"),
        ({"use": ref("NONE")}, "/use/item"),
        ({"use": ref("P", points=["9"])}, "/use/points"),
        ({"use": ref("P", certificate="W")}, "/use/certificate"),
        ({"use": ref("A", performed_at="2025-06-01T00:00:00Z", certificate="K")}, ""),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_changed(used, send, body, pointer):
    answer = send(used, **body)
    assert answer.status_code == 422, answer.text
    assert [one["pointer"] for one in answer.get_json()["errors"]] == [pointer]
    assert items(used.get("/v1/certificates/K").get_json()) == ["REF", "WS"]


def test_a_use_is_added_to_the_revision_that_is_named(used):
    revised = cal("K", "A", "02-01", [], revision=1, amendment="typing error")
    assert used.post("/v1/certificates/K/revisions", json=revised).status_code == 201
    assert add(used, use=ref("P"), query="?revision=0").get_json()["revision"] == 0
    assert items(used.get("/v1/certificates/K").get_json()) == []


def test_without_a_use_there_is_nothing_to_add(used):
    assert add(used).status_code == 422
    assert add(used, number="NONE", use=ref("P")).status_code == 404


def test_the_journal_names_who_added_what(used):
    add(used, use=ref("P"))
    last = used.get("/v1/journal").get_json()["items"][0]
    (fact,) = last["facts"]
    assert (fact["what"], fact["by"], fact["position"]) == ("use corrected", SAID["by"], 2)


def test_a_long_history_is_paged_oldest_first(used):
    weights = [f"0.{digit}" for digit in range(1, 6)]
    for weight in weights:
        assert correct(used, 1, use=ref("WS", weight)).status_code == 201
    found, address = [], "/v1/certificates/K/use-corrections?limit=2"
    sizes = []
    while address:
        answer = used.get(address)
        shown = answer.get_json()
        sizes.append(len(shown["items"]))
        found += shown["items"]
        address = shown["next"]
        assert ("Link" in answer.headers) is bool(address)
    assert sizes == [2, 2, 1]
    assert [one["after"]["weight"] for one in found] == weights
    assert found == used.get("/v1/certificates/K").get_json()["use_corrections"]
