"""The chain upwards and each of its breaks."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, lab, ref, row

ROOT = {"external": True, "issuer": "Institute", "accreditation": "K-1"}
BARE = [{k: v for k, v in row().items() if k not in ("U", "k")}]


def whole(*more, **changes):
    """E-1 (external) calibrated REF, W-1 calibrated WS, C-1 calibrated CELL."""
    made = {
        "E-1": cal("E-1", "REF", "01-01", [], **ROOT),
        "W-1": cal("W-1", "WS", "02-01", [ref("REF")]),
        "C-1": cal("C-1", "CELL", "03-01", [ref("WS"), {"item": "ADP", "role": "adapter"}]),
    }
    for number, change in changes.items():
        made[number.replace("_", "-")] |= change
    laboratory = lab(*made.values(), *more)
    for item in laboratory["items"]:
        if item["id"] == "ADP":
            item["kind"] = "adapter"
    return laboratory


@pytest.fixture
def chain(client):
    """Import a laboratory and return the chain of C-1."""

    def found(laboratory, number="C-1"):
        answer = client.post("/v1/imports", json=laboratory)
        assert answer.status_code == 201, answer.text
        return json.loads(client.get(f"/v1/certificates/{number}/chain").text)

    return found


def breaks(found):
    assert found["unbroken"] is (not found["breaks"])
    return [(one["kind"], one["certificate"], one["item"]) for one in found["breaks"]]


def test_an_unbroken_chain_shows_its_links_and_root(chain):
    found = chain(whole())
    assert breaks(found) == []
    assert found["roots"] == [
        {"certificate": "E-1", "item": "REF"} | {"issuer": "Institute", "accreditation": "K-1"}
    ]
    assert [(one["level"], one["certificate"], one["item"]) for one in found["links"]] == [
        (1, "C-1", "WS"),
        (1, "C-1", "ADP"),
        (2, "W-1", "REF"),
    ]
    assert found["links"][0]["rests_on"] == {"certificate": "W-1", "revision": 0}
    assert found["links"][0]["used_at"] == "2025-03-01T10:00:00Z"
    assert found["links"][1]["carries_value"] is False


def test_an_item_without_calibration_in_force_is_a_break(chain):
    # Its only calibration came a day after it was used.
    found = chain(whole(W_1={"performed_at": "2025-03-02"}))
    assert breaks(found) == [("no_calibration_in_force", "C-1", "WS")]


@pytest.mark.parametrize(
    ("due", "overdue"),
    [
        ("2025-02-28", True),
        ("2025-03-01", False),
        ("2025-03-01T10:00:00Z", False),
        ("2025-03-01T09:59:59Z", True),
    ],
)
def test_a_use_after_the_due_date_is_a_break(chain, due, overdue):
    found = chain(whole(W_1={"due_at": due}))
    assert breaks(found) == ([("overdue", "C-1", "WS")] if overdue else [])


def test_a_certificate_voided_since_is_a_break_even_where_an_older_one_stands(chain):
    older = cal("W-0", "WS", "01-15", [ref("REF")])
    found = chain(whole(older, W_1={"status": "voided", "void_reason": "drift"}))
    assert breaks(found) == [("voided_since", "C-1", "WS")]
    assert "W-1" in found["breaks"][0]["detail"]
    assert found["links"][0]["rests_on"]["certificate"] == "W-0"


def test_a_certificate_voided_before_the_use_is_a_break_of_its_own(chain):
    older = cal("W-0", "WS", "01-15", [ref("REF")])
    void = {"status": "voided", "voided_at": "2025-03-01T10:00:00Z"}
    found = chain(whole(older, W_1=void))
    assert breaks(found) == [("voided_value", "C-1", "WS")]
    assert found["links"][0]["rests_on"]["certificate"] == "W-0"


def test_what_was_voided_after_the_use_is_still_what_it_rests_on(chain):
    void = {"status": "voided", "voided_at": "2025-03-01T10:00:01Z"}
    found = chain(whole(W_1=void))
    assert breaks(found) == [("voided_since", "C-1", "WS")]
    assert found["links"][0]["rests_on"]["certificate"] == "W-1"


def test_a_void_of_the_other_mode_is_no_break(chain):
    other = cal("W-2", "WS", "02-15", [ref("REF")], status="voided", mode="compression")
    assert breaks(chain(whole(other, C_1={"mode": "tension"}))) == []


def test_a_voided_certificate_with_nothing_behind_it_is_two_breaks(chain):
    found = chain(whole(W_1={"status": "voided"}))
    assert breaks(found) == [
        ("no_calibration_in_force", "C-1", "WS"),
        ("voided_since", "C-1", "WS"),
    ]


def test_a_use_that_names_its_certificate_does_not_mind_another_that_was_voided(chain):
    voided = cal("W-2", "WS", "02-15", [ref("REF")], status="voided")
    named = {"uses": [ref("WS", certificate="W-1")]}
    assert breaks(chain(whole(voided, C_1=named))) == []


def test_a_named_certificate_that_is_voided_is_a_break(chain):
    named = {"uses": [ref("WS", certificate="W-1", revision=0)]}
    found = chain(whole(W_1={"status": "voided"}, C_1=named))
    assert breaks(found) == [("voided_since", "C-1", "WS")]


def test_a_certificate_without_uncertainty_is_a_break(chain):
    assert breaks(chain(whole(W_1={"results": BARE}))) == [("no_uncertainty", "C-1", "WS")]


@pytest.mark.parametrize("relative", [True, False])
def test_an_uncertainty_in_either_terms_counts(chain, relative):
    result = {"point": 1, "U_rel_pct": "0.1"} if relative else row()
    assert breaks(chain(whole(W_1={"results": [result]}))) == []


def test_a_chain_that_ends_in_the_laboratory_is_a_break(chain):
    found = chain(whole(W_1={"uses": []}))
    assert breaks(found) == [("no_external_root", "W-1", "WS")]
    assert found["roots"] == []


def test_adapters_alone_are_no_root(chain):
    found = chain(whole(W_1={"uses": [{"item": "ADP", "role": "adapter"}]}))
    assert breaks(found) == [("no_external_root", "W-1", "WS")]


def test_an_item_that_needs_no_calibration_is_no_break_but_no_root_either(chain):
    laboratory = whole(C_1={"uses": [ref("WS"), {"item": "TH", "role": "environment"}]})
    why = {"calibration": "indication only"}
    laboratory["items"].append({"id": "BOX", "kind": "readout", "properties": why})
    for item in laboratory["items"]:
        if item["id"] == "TH":
            item |= {"kind": "environment_monitor", "properties": why}
    assert breaks(chain(laboratory)) == []
    alone = {
        "calibrations": [cal("C-9", "CELL", "04-01", [{"item": "BOX", "role": "readout_dut"}])]
    }
    assert breaks(chain(alone, "C-9")) == [("no_external_root", "C-9", "CELL")]


def test_an_external_certificate_by_itself_is_its_own_root(chain):
    found = chain(whole(), "E-1")
    assert (found["unbroken"], found["links"]) == (True, [])
    assert found["roots"][0]["certificate"] == "E-1"


def test_a_diamond_is_walked_once(chain):
    both = [row(applied="5"), row(point=2)]  # each of the two bears half of the 10 kN
    on_ref = [ref("REF", points=[2])]
    second = cal("W-2", "WS-2", "02-02", on_ref, both)
    halves = [ref("WS", "0.5"), ref("WS-2", "0.5")]
    found = chain(whole(second, W_1={"results": both, "uses": on_ref}, C_1={"uses": halves}))
    assert breaks(found) == []
    assert len(found["links"]) == 4
    assert len(found["roots"]) == 1


def test_a_break_far_up_is_named_where_it_is(chain):
    found = chain(whole(E_1={"due_at": "2025-01-31"}))
    assert breaks(found) == [("overdue", "W-1", "REF")]
