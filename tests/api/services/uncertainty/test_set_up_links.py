"""Runs that name a set-up check are of the instrument that it looked at."""

from __future__ import annotations

import pytest

from tests.flow import RUNS, SET_UP, measure, recorded, refused


@pytest.fixture
def bench(client, once):
    """The laboratory with one set-up check."""
    client.ids = once(measure)
    return client


def test_the_item_is_taken_from_the_check_of_the_set_up(bench):
    made = recorded(bench, "run-evaluations", RUNS | {"set_up_check": 1})
    assert (made["item"], made["set_up_check"]) == ("TL-1", 1)
    kept = bench.get(f"/v1/run-evaluations/{made['id']}").get_json()
    assert kept["request"]["item"] == "TL-1"
    assert (kept["mode"], kept["performed_at"]) == ("tension", "2026-03-02T09:00:00Z")


def test_the_same_item_may_be_named_and_another_is_refused(bench):
    named = RUNS | {"set_up_check": 1, "store": False}
    recorded(bench, "run-evaluations", named | {"item": "TL-1"}, 200)
    assert refused(bench, named | {"item": "TL-2"}, "run-evaluations") == [
        ("/item", "set-up check 1 looked at TL-1, not at TL-2")
    ]


def test_a_check_for_a_type_fits_items_of_that_type(bench):
    of_type = {name: part for name, part in SET_UP.items() if name != "instrument"}
    key = recorded(bench, "setup-checks", of_type | {"type": "tension_link"})["id"]
    named = RUNS | {"set_up_check": key, "store": False}
    assert "item" not in recorded(bench, "run-evaluations", named, 200)
    recorded(bench, "run-evaluations", named | {"item": "TL-2"}, 200)
    assert refused(bench, named | {"item": "CR-1"}, "run-evaluations") == [
        ("/item", f"set-up check {key} was for a tension_link; CR-1 is a crane_scale")
    ]
    assert refused(bench, named | {"item": "DMM"}, "run-evaluations") == [
        ("/item", f"set-up check {key} was for a tension_link; DMM is of no type")
    ]


def test_a_check_that_is_not_recorded_is_named(bench):
    assert refused(bench, RUNS | {"set_up_check": 99}, "run-evaluations") == [
        ("/set_up_check", "set-up check 99 is not recorded")
    ]
