"""What a result takes from runs, faults and all, without a database."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.services.base.recording import Recording
from api.services.certificates.measured_values import filled, of_every_force
from api.services.uncertainty.run_links import Run
from api.store.evaluations import RunEvaluation

POINTS = [
    {
        "applied": force,
        "deflections": [{"deflection": indicated, "repeated": False}],
        "uncertainty": {"U": "0.0123", "U_rel_pct": "0.123", "k": "2"},
    }
    for force, indicated in (("10.0", "10.1"), ("20.0", "19.9"))
]
READINGS = [{"applied": one["applied"], "indicated": "10.1"} for one in POINTS]
ANSWER = {"force_unit": "kN", "indication_unit": "kN", "points": POINTS}
RUN = Run(RunEvaluation(id=5, request={"series": [{"ascending": READINGS}]}, answer=ANSWER))


def fill(has_budget=True, **result):
    recording = Recording(None, 0)
    found = filled(recording, RUN, {"point": 1} | result, "/results/0", has_budget=has_budget)
    return found, [one.pointer for one in recording.issues]


def test_every_force_becomes_a_result():
    assert of_every_force(RUN, "as_left") == [
        {"point": n, "stage": "as_left", "applied": Decimal(force), "unit": "kN"}
        for n, force in ((1, "10.0"), (2, "20.0"))
    ]


@pytest.mark.parametrize(
    "result",
    [{"point": 2}, {"point": "2"}, {"point": "x", "applied": Decimal(20_000), "unit": "N"}],
)
def test_the_force_is_found_by_number_or_by_what_was_applied(result):
    found, faults = fill(**result)
    # 19.9 - 20.0 kN, in the unit that was sent
    assert found["error"] == Decimal(-100 if result.get("unit") == "N" else "-0.1")
    assert faults == []


def test_percent_is_no_unit_of_a_force():
    assert fill(unit="%")[1] == ["/results/0/unit"]


@pytest.mark.parametrize("point", [0, 3, -1, "first", "1.5"])
def test_a_number_that_no_force_has_is_refused(point):
    assert fill(point=point)[1] == ["/results/0/point"]


@pytest.mark.parametrize(
    ("percent", "agrees"),
    [("1", True), ("1.00", True), ("1.005", False), ("0.9", False), ("-1", False)],
)
def test_an_error_in_percent_is_a_rounding_of_the_error(percent, agrees):
    # 0.1 of 10.0 is 1 %
    _, faults = fill(error_rel_pct=Decimal(percent))
    assert faults == ([] if agrees else ["/results/0/error_rel_pct"])


def test_u_is_taken_where_no_budget_states_it():
    found, faults = fill(has_budget=False)
    assert (found["U"], found["k"], faults) == (Decimal("0.0123"), 2, [])
    assert found["taken"] == ["applied", "unit", "indicated", "error", "U", "k"]
    assert "U" not in fill()[0]


@pytest.mark.parametrize(
    ("sent", "faults"),
    [
        ({"U": "0.013"}, []),
        ({"U": "0.014"}, ["U"]),
        ({"U_rel_pct": "0.13"}, []),
        ({"U_rel_pct": "0.3", "k": "3"}, ["U_rel_pct", "k"]),
    ],
)
def test_u_that_was_sent_may_be_a_rounding(sent, faults):
    numbers = {name: Decimal(one) for name, one in sent.items()}
    found, told = fill(has_budget=False, **numbers)
    assert told == [f"/results/0/{name}" for name in faults]
    assert {name: found[name] for name in numbers} == numbers


def test_nothing_is_taken_at_zero_force():
    sent = {"point": 1, "applied": Decimal(0), "unit": "kN"}
    assert fill(**sent) == (sent, [])
