"""What cannot belong together is refused, once, where it is named."""

from __future__ import annotations

import pytest

from tests.flow import DRIFT, MEASURED, RUNS, SET_UP, measure, recorded, refused


@pytest.fixture
def bench(client, once):
    """The laboratory with a set-up check, runs and a budget."""
    once(measure)
    return client


def of(bench, **changes):
    return refused(bench, MEASURED | changes)


@pytest.mark.parametrize("name", ["set_up_check", "run_evaluation", "budget"])
def test_what_is_not_recorded_is_told_once(bench, name):
    words = name.replace("_", " ").replace("set up", "set-up")
    named = "GHOST" if name == "budget" else 99
    sent = {"performed_at": "2026-03-02", name: named}
    sent["results"] = [{"point": 1, "applied": "10", "unit": "kN"}, {"point": 2}]
    assert of(bench, **sent) == [(f"/{name}", f'{words} "{named}" is not recorded')]
    answer = bench.post("/v1/calibrations", json=MEASURED | sent).get_json()
    assert answer["type"].endswith("unknown-reference")


def test_runs_and_a_set_up_of_another_item_are_refused(bench):
    assert of(bench, item="TL-2", budget="UB-1") == [
        ("/budget", "set-up check 1 looked at TL-1, not at TL-2"),
        ("/budget", "run evaluation 1 is of TL-1, not of TL-2"),
    ]


def test_another_mode_is_refused(bench):
    assert of(bench, mode="compression", budget="UB-1") == [
        ("/budget", "run evaluation 1 was in tension, the calibration is in compression"),
        ("/budget", 'budget "UB-1" is for tension, the calibration is in compression'),
    ]


def test_a_budget_for_another_type_or_of_other_runs_is_refused(bench):
    other = recorded(bench, "run-evaluations", RUNS | {"item": "TL-1"})["id"]
    assert of(bench, run_evaluation=other, budget="UB-1") == [
        ("/run_evaluation", 'budget "UB-1" is of run evaluation 1')
    ]
    scale = {"id": "UB-C", "point": {"value": "10", "unit": "kN"}, "components": [DRIFT]}
    recorded(bench, "uncertainty-budgets", scale | {"instrument_type": "crane_scale"})
    assert of(bench, budget="UB-C", performed_at="2026-03-02") == [
        ("/budget", 'budget "UB-C" is for a crane_scale, TL-1 is a tension_link')
    ]


def test_a_budget_of_another_range_or_unit_is_refused(bench):
    small = {"id": "UB-S", "point": {"value": "10", "unit": "kN"}, "components": [DRIFT]}
    recorded(bench, "uncertainty-budgets", small)
    assert of(bench, run_evaluation=1, budget="UB-S") == [
        ("/results/1/budget", "the budget is for 10 kN, the result at 50.00 kN"),
        ("/results/2/budget", "the budget is for 10 kN, the result at 100.00 kN"),
    ]
    signal = {"id": "UB-V", "point": {"value": "2", "unit": "mV/V"}, "components": [DRIFT]}
    recorded(bench, "uncertainty-budgets", signal)
    assert of(bench, run_evaluation=1, budget="UB-V", results=[{"point": 1}]) == [
        ("/results/0/budget", "the budget is in mV/V, which is not compared with kN")
    ]


def test_runs_in_another_set_up_are_refused(bench):
    other = recorded(bench, "setup-checks", SET_UP)["id"]
    assert of(bench, set_up_check=other, run_evaluation=1) == [
        ("/set_up_check", "run evaluation 1 was made in the set-up of check 1")
    ]


def test_runs_that_name_neither_item_nor_mode_fit_any(bench):
    bare = {name: part for name, part in RUNS.items() if name != "mode"}
    key = recorded(bench, "run-evaluations", bare)["id"]
    sent = MEASURED | {"item": "TL-2", "mode": "compression", "run_evaluation": key}
    assert recorded(bench, "calibrations", sent)["mode"] == "compression"


@pytest.mark.parametrize("named", [{}, {"first": 1}, {"as_found": "1"}, "1", 0])
def test_runs_are_named_by_id_or_by_stage(bench, named):
    ((pointer, _),) = of(bench, run_evaluation=named)
    assert pointer.startswith("/run_evaluation")
