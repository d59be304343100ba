"""What results and budgets take from stored runs, by hand from the readings of tests/flow.py."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.services.uncertainty.run_links import FALLING, Run, find
from api.store.evaluations import RunEvaluation
from tests.flow import RUNS, measure, recorded, series


@pytest.fixture
def run(client, once, database):
    """The stored runs of the laboratory."""
    key = once(measure)["run_evaluation"]
    with database.read() as session:
        yield find(session, key)


def test_a_result_has_the_mean_over_the_rotations_less_what_was_applied(run):
    # 10 kN: (10.01 + 10.02 + 10.03)/3 = 10.02; the zero of the second series, 0.01, is taken off.
    assert run.values(0, None) == {
        "applied": Decimal("10.00"),
        "unit": "kN",
        "indicated": Decimal("10.02"),
        "error": Decimal("0.02"),
    }


def test_digits_are_kept_and_a_mean_that_does_not_end_has_twelve(run):
    assert [str(force) for force in run.forces] == ["10.00", "50.00", "100.00"]
    # 300.25/3 = 100.08333333333...
    assert [str(run.values(2, None)[name]) for name in ("indicated", "error")] == [
        "100.083333333",
        "0.083333333",
    ]


def test_falling_readings_are_a_mean_of_their_own(run):
    # (50.06 + 50.08 - 0.01)/2
    assert run.values(1, FALLING)["error"] == Decimal("0.065")
    assert run.falls
    with pytest.raises(LookupError, match="no readings at falling force"):
        run.values(0, FALLING)


def test_u_of_the_runs_is_for_rising_force_alone(run):
    assert run.uncertainty(1, "increasing", "kN").keys() == {"U", "k"}
    assert run.uncertainty(1, None, "%").keys() == {"U_rel_pct", "k"}
    assert run.uncertainty(1, FALLING, "kN") == {}


def test_what_the_runs_left_out_is_named(run):
    # No repeated series, creep, zero afterwards or temperature: w3, w5, w6, w7.
    assert run.left_out() == ["w3", "w5", "w6", "w7"]


def evaluated(**changes):
    """Runs that were never stored."""
    point = {
        "applied": "10", "deflections": [{"deflection": "2.5", "repeated": False}],
        "uncertainty": {"U": None, "U_rel_pct": None, "k": "2", "components": [], "left_out": []},
    }  # fmt: skip
    answer = {"force_unit": "kN", "indication_unit": "kN", "points": [point]} | changes
    request = {"series": [{"ascending": [{"applied": "10", "indicated": "2.500"}]}]}
    return Run(RunEvaluation(id=1, request=request, answer=answer))


def test_zeros_of_the_readings_are_kept_in_the_mean():
    assert str(evaluated().values(0, None)["indicated"]) == "2.500"


def test_an_indication_in_another_unit_of_force_is_converted():
    # 2.5 tf = 2.5 x 9.80665 kN, exactly
    found = evaluated(indication_unit="tf").values(0, None)
    assert found["indicated"] == Decimal("24.516625")
    assert found["error"] == Decimal("14.516625")


def test_a_result_in_another_unit_is_converted():
    # 10 kN = 10000 N; 10/4.4482216152605e-3 lbf = 2248.08943100 to twelve digits
    assert evaluated().values(0, None, "N")["error"] == Decimal(-7500)
    assert evaluated().values(0, None, "lbf")["applied"] == Decimal("2248.089431")


def test_an_indication_in_millivolts_gives_no_error():
    found = evaluated(indication_unit="mV/V")
    assert found.values(0, None) == {"applied": Decimal(10), "unit": "kN"}
    assert not found.indicates_force


def test_runs_without_u_give_none():
    assert evaluated().uncertainty(0, None, "kN") == {}


def test_a_repeated_series_does_not_count_twice(client, once):
    once(measure)
    repeated = [series("0", "0.00", "10.09", "50.09", "100.09")]
    made = recorded(client, "run-evaluations", RUNS | {"item": "TL-1", "repeated": repeated})
    assert made["points"][0]["mean_deflection"] == "10.02"
    result = {"point": 1, "run_evaluation": made["id"]}
    sent = {"certificate": "K-9", "item": "TL-1", "run_evaluation": made["id"]}
    (shown,) = recorded(client, "calibrations", sent | {"results": [result]})["results"]
    assert shown["indicated"] == "10.02"
