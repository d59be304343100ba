"""Adapters and references are those of the set-up that was checked, and of no other."""

from __future__ import annotations

import pytest

from tests.flow import MEASURED, SET_UP, measure, recorded, refused

DAY = {"performed_at": "2026-03-02T09:00:00Z"}
POINTS = [{"point": n, "applied": f, "unit": "kN"} for n, f in enumerate(("10", "50"), 1)]


@pytest.fixture
def bench(client, once):
    """The laboratory with a set-up check."""
    once(measure)
    return client


def record(bench, **changes):
    return recorded(bench, "calibrations", MEASURED | DAY | {"set_up_check": 1} | changes)


def used(made):
    return [(one["item"], one["role"], "taken_from" in one) for one in made["uses"]]


def check(bench, without=(), **changes):
    sent = {name: part for name, part in SET_UP.items() if name not in without}
    return recorded(bench, "setup-checks", sent | changes)["id"]


TAKEN = [
    ("REF-1", "force_reference", True),
    ("CLV-1", "adapter", True),
    ("CLV-2", "adapter", True),
]


def test_adapters_and_references_are_taken_and_readouts_are_not(bench):
    made = record(bench)
    assert made["set_up_check"] == 1
    assert used(made) == TAKEN


def test_what_is_named_stands_as_it_was_sent_and_the_rest_is_taken(bench):
    readout = {"item": "DMM", "role": "readout_reference", "channel": "A"}
    reference = {"item": "REF-1", "role": "force_reference", "note": "warm for an hour"}
    made = record(bench, uses=[readout, reference])
    assert used(made) == [
        ("DMM", "readout_reference", False),
        ("REF-1", "force_reference", False),
        *TAKEN[1:],
    ]


def test_shares_of_references_are_taken(bench):
    shared = [{"item": "REF-1", "weight": "0.50"}, {"item": "REF-2", "weight": "0.50"}]
    key = check(bench, references=shared)
    made = record(bench, set_up_check=key)
    assert [one.get("weight") for one in made["uses"]] == ["0.50", "0.50", None, None]
    sent = MEASURED | DAY | {"certificate": "K-2", "set_up_check": key, "results": POINTS}
    wrong = {"item": "REF-1", "role": "force_reference", "weight": "0.4"}
    detail = "the set-up check gives its share as 0.50"
    assert refused(bench, sent | {"uses": [wrong]}) == [("/uses/0/weight", detail)]
    by_point = wrong | {"weight": {"1": "0.5", "2": "0.4"}}
    assert refused(bench, sent | {"uses": [by_point]}) == [("/uses/0/weight", detail)]
    right = wrong | {"weight": "0.5"}
    recorded(bench, "calibrations", sent | {"uses": [right]})


def test_the_machine_is_the_reference_where_none_is_named(bench):
    key = check(bench, without=("references",), machine="FM-9")
    assert used(record(bench, set_up_check=key))[0] == ("FM-9", "force_reference", True)
    key = check(bench, machine="FM-9")
    assert used(record(bench, certificate="K-2", set_up_check=key)) == TAKEN


@pytest.mark.parametrize(
    ("use", "detail"),
    [
        (("CLV-3", "adapter"), "no adapter CLV-3 in the set-up of check 1: CLV-1, CLV-2"),
        (("REF-2", "force_reference"), "no reference REF-2 in the set-up of check 1: REF-1"),
        (("DMM-2", "readout_dut"), "no readout DMM-2 in the set-up of check 1: DMM"),
    ],
)
def test_a_use_of_what_was_not_in_the_set_up_is_refused(bench, use, detail):
    sent = MEASURED | DAY | {"set_up_check": 1}
    item, role = use
    assert refused(bench, sent | {"uses": [{"item": item, "role": role}]}) == [
        ("/uses/0/item", detail)
    ]


def test_a_check_that_names_no_readout_says_nothing_against_one(bench):
    key = check(bench, without=("readouts",))
    made = record(bench, set_up_check=key, uses=[{"item": "DMM-2", "role": "readout_dut"}])
    assert len(made["uses"]) == 4


def test_each_set_up_serves_the_points_that_name_it(bench):
    key = check(bench, fittings=[{"item": "CLV-1"}, {"item": "CLV-3"}])
    other = POINTS[1] | {"set_up_check": key}
    made = record(bench, results=[POINTS[0], other])
    served = {one["item"]: one.get("points") for one in made["uses"]}
    assert served == {"REF-1": [1, 2], "CLV-1": [1, 2], "CLV-2": [1], "CLV-3": [2]}
    assert [one["set_up_check"] for one in made["results"]] == [1, key]


def test_a_corrected_use_is_not_taken_any_more(bench):
    record(bench)
    answer = bench.post(
        "/v1/certificates/K-1/uses/1/corrections",
        json={"use": {"item": "CLV-3", "role": "adapter"}, "by": "R. Fenn", "reason": "label"},
    )
    assert answer.status_code == 201, answer.text
    assert used(answer.get_json())[1] == ("CLV-3", "adapter", False)
