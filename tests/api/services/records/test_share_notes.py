"""What an import says of shares: the rule is that of the recall semantics, "compound items".

Shares are given for all measuring parts held, summing to 1, or for none, if each has a value.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal

KINDS = {
    "RIG": "force_machine",
    "C-1": "working_standard",
    "C-2": "working_standard",
    "C-3": "reference_standard",
    "IN": "force_machine",
    "RO": "readout",
}


def held(part, share=None, assembly="RIG", start="2025-01-01T00:00:00Z", until=None):
    made = {"assembly": assembly, "part": part, "from": start}
    return made | ({} if share is None else {"share": share}) | ({"until": until} if until else {})


def notes(client, composition, *calibrations):
    made = {
        "items": [{"id": code, "kind": kind} for code, kind in KINDS.items()],
        "composition": composition,
        "calibrations": list(calibrations),
    }
    answer = client.post("/v1/imports", json=made)
    assert answer.status_code == 201, answer.text
    again = client.post("/v1/imports?dry_run=true", json=made).get_json()
    found = answer.get_json().get("notes", [])
    assert again.get("notes", []) == found
    assert all(one["assembly"] in one["detail"] for one in found)
    return [(one["code"], one["assembly"], one["from"][:10], one["parts"]) for one in found]


def valued(*codes, at="01-02", **more):
    return [cal(f"V-{code}", code, at, [], **more) for code in codes]


def test_shares_for_all_that_are_one_together_say_nothing(client):
    parts = [held("C-1", "0.25"), held("C-2", "0.250"), held("C-3", "0.5"), held("RO")]
    assert notes(client, parts) == []


def test_shares_for_some_only(client):
    parts = [held("C-1", "0.5"), held("C-2", "0.5"), held("C-3")]
    assert notes(client, parts) == [("shares_partly", "RIG", "2025-01-01", ["C-3"])]


def test_shares_that_are_not_one_at_an_instant(client):
    # C-3 is taken out in March; then two thirds are left.
    third = "0.3333333333333333"
    parts = [
        held("C-1", "0.3333333333333334"),
        held("C-2", third),
        held("C-3", third, until="2025-03-01T00:00:00Z"),
    ]
    assert notes(client, parts) == [("shares_sum", "RIG", "2025-03-01", ["C-1", "C-2"])]


def test_no_shares_beside_a_part_without_any_value(client):
    parts = [held("C-1"), held("C-2")]
    assert notes(client, parts, *valued("C-1")) == [("shares_absent", "RIG", "2025-01-01", ["C-2"])]


@pytest.mark.parametrize(
    "calibrations",
    [
        valued("C-1", "C-2"),
        # later than the parts were put in, but while they are held
        valued("C-1", at="01-02") + valued("C-2", at="06-01"),
        # a value of the whole needs none of its parts
        valued("RIG"),
        valued("C-1") + valued("C-2", status="voided", voided_at="2025-09-01"),
    ],
)
def test_no_shares_where_every_part_or_the_whole_has_a_value(client, calibrations):
    assert notes(client, [held("C-1"), held("C-2")], *calibrations) == []


@pytest.mark.parametrize(
    "more", [{"assigns_value": False}, {"status": "draft"}, {"status": "voided"}]
)
def test_what_gives_no_value_is_none(client, more):
    found = notes(client, [held("C-1")], *valued("C-1", **more))
    assert found == [("shares_absent", "RIG", "2025-01-01", ["C-1"])]


def test_an_inner_assembly_has_a_value_if_its_parts_have(client):
    parts = [held("C-1"), held("IN"), held("C-2", assembly="IN"), held("C-3", assembly="IN")]
    assert notes(client, parts, *valued("C-1", "C-2", "C-3")) == []
    missing = [held("C-1"), held("IN"), held("C-2", assembly="IN")]
    assert notes(client, missing, *valued("C-1", "C-2")) == []


def test_an_inner_assembly_with_a_part_without_value_has_none(client):
    parts = [held("C-1"), held("IN"), held("C-2", assembly="IN"), held("C-3", assembly="IN")]
    assert notes(client, parts, *valued("C-1", "C-2")) == [
        ("shares_absent", "IN", "2025-01-01", ["C-3"]),
        ("shares_absent", "RIG", "2025-01-01", ["IN"]),
    ]


@pytest.mark.parametrize("share", ["0", "-0.5", "1.0001"])
def test_a_share_is_above_zero_and_at_most_one(client, share):
    answer = client.post("/v1/imports", json={"composition": [held("C-1", share)]})
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert (error["pointer"], bool(error["remedy"])) == ("/composition/0/share", True)
