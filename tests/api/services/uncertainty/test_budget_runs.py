"""A budget of stored runs: their contributions and what is added, combined as the GUM does it.

The combination is checked against JCGM 100:2008, 5.1.2, G.4 (from memory), worked here in floats,
Student's t against scipy; the forms of w1, w2, w4 and w8 stand in the answer of the runs.
"""

from __future__ import annotations

from decimal import Decimal
from math import floor, sqrt

import pytest
from scipy.stats import norm
from scipy.stats import t as student

from tests.flow import DRIFT, RUNS, measure, recorded, refused

BUDGETS = "uncertainty-budgets"
P = norm.cdf(2) - norm.cdf(-2)  # 95.45 %: two standard deviations, so that k becomes 2


@pytest.fixture
def bench(client, once):
    """The laboratory with its runs and the budget UB-1."""
    client.ids = once(measure)
    return client


def test_a_budget_has_every_force_of_its_runs(bench):
    shown = bench.get("/v1/uncertainty-budgets/UB-1").get_json()
    assert shown["run_evaluation"] == bench.ids["run_evaluation"]
    assert [one["point"] for one in shown["points"]] == [
        {"value": force, "unit": "kN"} for force in ("10.00", "50.00", "100.00")
    ]
    names = [one["name"] for one in shown["points"][0]["components"]]
    assert names == ["calibration force", "reproducibility", "resolution", "interpolation", "drift"]


def test_u_k_and_dof_are_those_of_the_combination(bench):
    # At 10 kN, in percent. w1: 0.02/2. w2: deflections 10.01, 10.02, 10.03 about 10.02, of 3 and 2
    # degrees of freedom. w4: 0.01/10.02 over sqrt 6. w8: residual of the fit, as the runs say it.
    shown = bench.get("/v1/uncertainty-budgets/UB-1").get_json()["points"][0]
    fit = next(one for one in shown["components"] if one["name"] == "interpolation")
    parts = {
        "w1": 0.02 / 2,
        "w2": sqrt(2 * 0.01**2 / (3 * 2)) / 10.02 * 100,
        "w4": 0.01 / 10.02 / sqrt(6) * 100,
        "w8": float(fit["u"]) / 10 * 100,
        "drift": 0.03 / sqrt(3),
    }
    u = sqrt(sum(part**2 for part in parts.values())) / 100 * 10
    dof = (u / 10 * 100) ** 4 / (parts["w2"] ** 4 / 2)
    k = student.ppf((1 + P) / 2, floor(dof))
    assert float(shown["u"]) == pytest.approx(u, rel=1e-9)
    assert float(shown["dof_effective"]) == pytest.approx(dof, rel=1e-9)
    assert shown["dof_for_k"] == floor(dof) == 7
    assert float(shown["k"]) == pytest.approx(k, rel=1e-9)
    assert float(shown["U"]) == pytest.approx(k * u, rel=1e-9)


def test_what_the_runs_could_not_give_is_said(bench):
    shown = bench.get("/v1/uncertainty-budgets/UB-1").get_json()
    assert all("w3, w5, w6, w7" in one["notes"][-1] for one in shown["points"])


def test_some_of_the_forces_may_be_named_with_components_of_their_own(bench):
    own = {"value": "50000", "unit": "N", "components": [DRIFT | {"name": "tilt"}]}
    named = {"run_evaluation": bench.ids["run_evaluation"], "store": False}
    made = recorded(bench, BUDGETS, named | {"point": own, "components": [DRIFT]}, 200)
    names = [one["name"] for one in made["components"]]
    assert names[-2:] == ["drift", "tilt"]
    # w1 is 0.01 % of the 50 kN of the runs, here in newton
    assert made["components"][0]["contribution"] == "5"
    several = recorded(bench, BUDGETS, named | {"points": [own]}, 200)
    assert [one["point"]["value"] for one in several["points"]] == ["50000"]


@pytest.mark.parametrize(
    ("changes", "pointer", "words"),
    [
        ({"point": {"value": "20", "unit": "kN"}}, "/point/value", "no force of 20 kN"),
        ({"points": [{"value": "10", "unit": "mV/V"}]}, "/points/0/unit", "the runs are in kN"),
        ({"run_evaluation": 99}, "/run_evaluation", "run evaluation 99 is not recorded"),
        ({"mode": "compression"}, "/mode", "was in tension"),
        ({"components": [DRIFT | {"name": "resolution"}]}, "/components/0/name", "resolution"),
    ],
)
def test_what_does_not_fit_the_runs_is_refused(bench, changes, pointer, words):
    sent = {"run_evaluation": bench.ids["run_evaluation"], "store": False}
    (found,) = refused(bench, sent | changes, BUDGETS)
    assert found[0] == pointer
    assert words in found[1]


def test_mode_and_type_find_the_capability(bench):
    # 0.5 % of 100 kN is more than the budget comes to: the floor is stated.
    cmc = {"id": "T", "mode": "tension", "range": {"lower": "1", "upper": "500", "unit": "kN"},
           "U_rel_pct": "0.5", "instrument_type": "tension_link"}  # fmt: skip
    recorded(bench, "cmcs", cmc)
    sent = {"run_evaluation": bench.ids["run_evaluation"], "store": False}
    point = recorded(bench, BUDGETS, sent, 200)["points"][2]
    assert (point["floor"]["cmc"], point["floor"]["applied"]) == ("T", True)
    assert Decimal(point["U_stated"]) == Decimal("0.5")


def test_the_same_budget_of_the_same_runs_is_the_same_record(bench):
    sent = {"id": "UB-1", "run_evaluation": bench.ids["run_evaluation"], "components": [DRIFT]}
    recorded(bench, BUDGETS, sent, 200)
    assert refused(bench, sent | {"components": []}, BUDGETS) == [
        ("/id", 'budget "UB-1" is recorded with other content')
    ]


def test_runs_of_no_mode_leave_that_of_the_budget(bench):
    bare = {name: part for name, part in RUNS.items() if name != "mode"}
    key = recorded(bench, "run-evaluations", bare)["id"]
    recorded(bench, BUDGETS, {"run_evaluation": key, "mode": "compression", "store": False}, 200)
