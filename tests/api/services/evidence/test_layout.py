"""Where marks stand: columns from the fault rightwards, what changes drawn, the rest counted."""

from __future__ import annotations

from linked_entries import keyed

from api.services.evidence import layout as places
from api.services.evidence.layout import CHANGES, COULD_CHANGE, MOST_DRAWN, STAYS, layout
from graph.affected import affected_part

REF = {"item": "REF", "kind": "unknown"}
PIN = {"item": "PIN", "kind": "unknown"}


def entry(number, item, *paths, listed="affected", generation=1, **more):
    made = {"certificate": number, "revision": 0, "item": item, "class": listed}
    made |= {"generation": generation, "reason_paths": [list(path) for path in paths]}
    return made | {"path_count": len(paths), "verdict_changes": False} | more


def direct(number, **more):
    return entry(number, f"I-{number}", ["REF", number], **more)


def labels(column):
    return [mark.label for mark in column.marks]


CHAIN = [
    entry("W-1", "WS-1", ["REF", "W-1"]),
    entry("W-2", "WS-2", ["REF", "W-2"], verdict_changes=True),
    entry("C-2", "A", ["REF", "W-1", "WS-1", "C-2"], generation=2, could_change=True),
    entry("C-1", "B", ["REF", "W-2", "WS-2", "C-1"], generation=2),
]


def test_columns_go_from_the_faulty_item_by_generation_and_links_from_cause_to_effect():
    found = layout(affected_part(*keyed([REF], CHAIN)))
    assert [column.heading for column in found.columns] == [
        *("faulty", "generation 1", "generation 2")
    ]
    assert [column.origin for column in found.columns] == [True, False, False]
    assert {(cause.label, effect.label) for cause, effect in found.links} == {
        *(("REF", "W-1"), ("REF", "W-2"), ("W-1", "C-2"), ("W-2", "C-1"))
    }


def test_certificates_stand_beside_what_leads_to_them_so_that_lines_are_short():
    # By name C-1 would stand above C-2; W-1, above W-2, leads to C-2.
    found = layout(affected_part(*keyed([REF], CHAIN)))
    assert [labels(column) for column in found.columns[1:]] == [["W-1", "W-2"], ["C-2", "C-1"]]


def test_changes_are_counted_where_they_are_and_marked():
    found = layout(affected_part(*keyed([REF], CHAIN)))
    assert found.changes == 1
    assert [(column.certificates, column.changes) for column in found.columns] == [
        *((0, 0), (2, 1), (2, 0))
    ]
    outcomes = {mark.label: mark.outcome for column in found.columns for mark in column.marks}
    assert (outcomes["W-2"], outcomes["C-2"], outcomes["C-1"]) == (CHANGES, COULD_CHANGE, STAYS)


def test_what_held_a_faulty_part_stands_between_it_and_the_certificates():
    entries = [
        entry("C-1", "A", ["PIN", "CLV", "C-1"]),
        entry("C-2", "B", ["PIN", "CLV", "RIG", "C-2"]),
    ]
    found = layout(affected_part(*keyed([PIN], entries)))
    assert [(column.heading, labels(column)) for column in found.columns] == [
        ("faulty", ["PIN"]),
        ("which was in", ["CLV"]),
        ("which was in", ["RIG"]),
        ("generation 1", ["C-1", "C-2"]),
    ]


def test_a_faulty_certificate_leads_through_the_item_that_it_was_used_for():
    entries = [entry("C-1", "A", ["W-9", "WS", "C-1"])]
    found = layout(affected_part(*keyed([{"certificate": "W-9", "kind": "unknown"}], entries)))
    assert [(column.heading, labels(column)) for column in found.columns] == [
        *(("faulty", ["W-9"]), ("used by", ["WS"]), ("generation 1", ["C-1"]))
    ]


def test_a_column_that_just_fits_is_drawn_one_by_one():
    part = affected_part(*keyed([REF], [direct(f"C-{n:03}") for n in range(MOST_DRAWN)]))
    (_, generation) = layout(part).columns
    assert len(generation.marks) == MOST_DRAWN
    assert not any(mark.stacked for mark in generation.marks)


def test_of_a_longer_column_what_changes_is_drawn_and_the_rest_stacked_by_list_and_outcome():
    some = [direct(f"S-{n:03}") for n in range(MOST_DRAWN)]
    unknown = [direct(f"U-{n}", listed="indeterminate", verdict_changes=None) for n in range(2)]
    telling = [direct("X-1", verdict_changes=True), direct("X-2", could_change=True)]
    found = layout(affected_part(*keyed([REF], [*some, *unknown, *telling])))
    marks = found.columns[1].marks
    assert [mark.label for mark in marks if not mark.stacked] == ["X-1", "X-2"]
    stacks = [(mark.list_name, mark.outcome, mark.count) for mark in marks if mark.stacked]
    assert stacks == [("affected", STAYS, MOST_DRAWN), ("indeterminate", STAYS, 2)]
    assert [mark.stacked for mark in marks] == [False, False, True, True]  # stacks below
    assert found.lists == {"affected": MOST_DRAWN + 2, "indeterminate": 2}
    # A stack has one line however many certificates are in it, and each of them finds its mark.
    assert len(found.links) == 4
    assert found.marks["certificate/S-000/0"] is found.marks["certificate/S-059/0"]


def test_more_changes_than_there_is_room_for_are_stacked_as_changes(monkeypatch):
    monkeypatch.setattr(places, "MOST_DRAWN", 2)
    entries = [direct(f"C-{n}", verdict_changes=True) for n in range(5)]
    entries.append(direct("D-1", could_change=True))
    marks = layout(affected_part(*keyed([REF], entries))).columns[1].marks
    assert [mark.label for mark in marks if not mark.stacked] == ["C-0", "C-1"]
    assert [(mark.outcome, mark.count) for mark in marks if mark.stacked] == [
        *((CHANGES, 3), (COULD_CHANGE, 1))
    ]


def test_nothing_reached_has_no_columns():
    found = layout(affected_part(*keyed([REF], [])))
    assert (found.columns, found.links, found.changes) == ([], [], 0)
