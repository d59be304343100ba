"""What a second look changes: added, removed, moved, changed; each certificate in one of them."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, force_fault, lab, ref

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls
from api.services.recalls.differences import (
    MOST_NAMED,
    Seen,
    any_difference,
    differences,
    found_entries,
    stored_entries,
)
from api.services.recalls.run import recall

LATER = 1_893_456_000_000_000  # 2030


def seen(number, list_name="affected", revision=0, **more):
    made = {"certificate": number, "revision": revision} | more
    return Seen(list_name, json.dumps(made))


def test_each_certificate_stands_under_what_became_of_it():
    before = {1: seen("STAYS"), 2: seen("GONE"), 3: seen("MOVES", "cleared"), 4: seen("N", shift=1)}
    after = {1: seen("STAYS"), 3: seen("MOVES", shift=2), 4: seen("N", shift=3), 5: seen("NEW")}
    found = differences(before, after)
    assert {
        name: [one["certificate"] for one in part["certificates"]] for name, part in found.items()
    } == {"added": ["NEW"], "removed": ["GONE"], "moved": ["MOVES"], "changed": ["N"]}
    assert found["moved"]["certificates"] == [
        {"certificate": "MOVES", "revision": 0, "class": "affected"}
        | {"from": "cleared", "to": "affected"}
    ]
    assert all(part["count"] == 1 for part in found.values())
    assert any_difference(found)


def test_the_same_twice_differs_in_nothing():
    same = {1: seen("A"), 2: seen("B", "cleared")}
    assert not any_difference(differences(same, dict(same)))
    assert not any_difference(differences({}, {}))


def test_names_stand_in_order_of_number_and_revision():
    after = {1: seen("B"), 2: seen("A", revision=1), 3: seen("A")}
    found = differences({}, after)["added"]["certificates"]
    assert [(one["certificate"], one["revision"]) for one in found] == [
        ("A", 0),
        ("A", 1),
        ("B", 0),
    ]


def test_more_than_can_be_named_is_still_counted():
    many = {key: seen(f"C-{key:05}") for key in range(MOST_NAMED + 1)}
    removed = differences(many, {})["removed"]
    assert removed["count"] == MOST_NAMED + 1
    assert len(removed["certificates"]) == MOST_NAMED
    assert removed["certificates"][-1]["certificate"] == f"C-{MOST_NAMED - 1:05}"


@pytest.fixture
def looks(database):
    """A stored recall of two certificates, and the answers of other faults of REF."""
    laboratory = lab(cal("C-1", "A", "02-01", [ref("REF")]), cal("C-2", "B", "03-01", [ref("REF")]))
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), 0)

        def ask(**fault):
            request = {"fault": force_fault() | fault}
            return recall(session, RecallRequestSchema().load(request), LATER)

        head = recalls.store(session, ask(), None, LATER)
        yield stored_entries(session, head["id"]), ask


def test_a_stored_recall_and_the_same_answer_again_are_alike(looks):
    stored, ask = looks
    assert len(stored) == 2
    assert not any_difference(differences(stored, found_entries(ask())))


def test_a_later_start_clears_what_came_before_and_a_larger_fault_changes_both(looks):
    stored, ask = looks
    narrow = differences(stored, found_entries(ask(last_good_at="2025-02-15T00:00:00Z")))
    assert [one["certificate"] for one in narrow["moved"]["certificates"]] == ["C-1"]
    assert narrow["moved"]["certificates"][0]["to"] == "cleared"
    larger = differences(stored, found_entries(ask(delta_rel="0.0006")))
    assert larger["changed"]["count"] == 2
