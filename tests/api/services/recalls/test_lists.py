"""The lists of a stored recall: sorted, filtered, counted and totalled."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, force_fault, lab, ref, row

from api.errors import InvalidRecord
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls import lists, recalls, run
from api.services.recalls.lists import SORTS, entry_count, entry_of, entry_page, totals
from api.store.record_changes import position

NOW = 1_893_456_000_000_000  # 2030
# delta 0.0005 at 10 kN is a shift of 0.005, towards -; the last error that passes is -0.008 (T 0.01
# less U 0.002). Shift over U: 0.005/0.002 = 2.5; over U 0.004: 1.25 (accepted to -0.006); at 4 kN
# 0.002/0.002 = 1.
BIG, MEAN, SMALL = row("10", "-0.004"), row("10", "0", U="0.004"), row("4", "0")
LABORATORY = lab(
    cal("C-1", "B", "02-01", [ref("REF")], [SMALL], customer="Mine Works"),
    cal("C-2", "A", "02-02", [ref("REF")], [BIG], customer="Alder Rigging"),
    cal("C-3", "C", "02-03", [ref("REF")], [MEAN], customer="Mine Works"),
    cal("C-4", "D", "02-04", [ref("A")], [BIG]),
    cal("T-1", "D", "02-05", [ref("REF")], [BIG], status="voided"),
    cal("T-1", "D", "02-05", [ref("REF")], [BIG], revision=1),
    cal("T-1", "D", "02-06", [ref("REF")], [BIG], revision=2, status="draft"),
)


@pytest.fixture
def session(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        request = RecallRequestSchema().load({"fault": force_fault()})
        recalls.store(session, run.recall(session, request, NOW), None, NOW, position(session))
        yield session


def numbers(session, after=None, limit=10, **query):
    texts, following = entry_page(session, 1, "affected", query | {"limit": limit}, after)
    return [json.loads(text)["certificate"] for text in texts], following


def test_each_order_puts_first_what_it_is_for(session):
    expected = {
        "order": ["C-1", "C-2", "C-3", "T-1", "C-4"],  # as the recall lists them
        "changed": ["C-2", "T-1", "C-4", "C-3", "C-1"],
        "shift_over_U": ["C-2", "T-1", "C-4", "C-3", "C-1"],
        "shift_over_tolerance": ["C-2", "C-3", "T-1", "C-4", "C-1"],  # 0.5 but for 0.2
        "customer": ["T-1", "C-4", "C-2", "C-1", "C-3"],  # none first
        "item": ["C-2", "C-1", "C-3", "T-1", "C-4"],
        "generation": ["C-1", "C-2", "C-3", "T-1", "C-4"],
    }
    assert {sort: numbers(session, sort=sort)[0] for sort in SORTS} == expected


def test_pages_give_every_entry_once_in_every_order(session):
    for sort in SORTS:
        whole, nothing = numbers(session, sort=sort)
        assert nothing is None
        found, after = [], None
        while True:
            page, after = numbers(session, after, 2, sort=sort)
            found += page
            if after is None:
                break
        assert found == whole


FILTERED = [
    ({"verdict_changes": True}, {"C-2", "T-1", "C-4"}),
    ({"verdict_changes": False}, {"C-1", "C-3"}),
    ({"customer": "Mine Works"}, {"C-1", "C-3"}),
    ({"item": "D"}, {"C-4", "T-1"}),
    ({"generation": 2}, {"C-4"}),
    ({"min_shift_over_U": "1.25"}, {"C-2", "C-3", "C-4", "T-1"}),
    ({"min_shift_over_U": "1.26"}, {"C-2", "C-4", "T-1"}),
    ({"customer": "Mine Works", "item": "C"}, {"C-3"}),
    ({"customer": "Nobody"}, set()),
]


def test_filters_leave_what_they_say_and_the_count_agrees(session):
    for query, expected in FILTERED:
        found, _ = numbers(session, **query)
        assert set(found) == expected, query
        assert len(found) == entry_count(session, 1, "affected", query) == len(expected)


def test_a_cursor_of_another_list_is_refused(session):
    for cursor in [(-1,), (True,), ("1",), (1, 2), (), (2**31,), (1.0,)]:
        with pytest.raises(InvalidRecord) as refused:
            numbers(session, cursor)
        assert refused.value.issues[0].remedy


def test_a_cursor_behind_the_end_is_an_empty_page(session):
    assert numbers(session, (99,)) == ([], None)


def test_of_a_number_the_recalled_revision_is_meant_unless_another_is_named(session):
    assert entry_of(session, 1, "T-1", None, None)[1]["revision"] == 1
    for revision in (0, 2):
        key, entry = entry_of(session, 1, "T-1", None, revision)
        assert (entry["revision"], entry["class"]) == (revision, "traced_not_recalled")
        assert key
    assert entry_of(session, 1, "T-1", "Outer Lab", None) is None
    assert entry_of(session, 1, "NOSUCH", None, None) is None
    assert entry_of(session, 2, "T-1", None, None) is None


def test_totals_put_first_where_most_verdicts_change(session):
    found = totals(session, 1)
    assert found["affected"]["by_customer"] == [
        {"of": None, "certificates": 2, "verdict_changes": 2},
        {"of": "Alder Rigging", "certificates": 1, "verdict_changes": 1},
        {"of": "Mine Works", "certificates": 2, "verdict_changes": 0},
    ]
    assert found["affected"]["by_generation"] == [
        {"of": 1, "certificates": 4, "verdict_changes": 2},
        {"of": 2, "certificates": 1, "verdict_changes": 1},
    ]
    assert set(found) == set(lists.RECALLED)
    assert found["indeterminate"] == {"by_customer": [], "by_item": [], "by_generation": []}
