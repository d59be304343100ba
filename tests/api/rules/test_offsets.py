"""Global risks and posterior of columns have the bits of single decisions, whatever the rule."""

from decimal import Decimal

import mpmath
import numpy as np
import pytest
from numpy.testing import assert_array_equal

from api.rules.acceptance import Prior
from api.rules.decide import decide
from api.rules.guard import Guard, Step
from api.rules.kernel import GLOBAL_RISKS, POSTERIOR
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Rule, rule_from_mapping
from api.rules.vector import COLUMNS, decide_rows

D = Decimal
GUARDS = (
    Guard("none"),
    Guard("U", factor=D(1)),
    Guard("U", factor=D("0.83")),
    Guard("tolerance", share=D("0.1")),
    Guard("absolute", width=(D("0.01"), D("0.02"))),
    Guard("rds"),
    Guard("managed"),
    Guard("specific_risk", target=D("0.02")),
    Guard("global_risk", target=D("0.01")),
    Guard(
        "tur_table",
        steps=(
            Step(D(0), factor=D(1)),
            Step(D("1.5"), factor=D("0.7")),
            Step(D(3), share=D("0.05")),
            Step(D(6), factor=D(0)),
        ),
    ),
)
NEEDS_BOTH = ("tolerance", "rds", "managed", "tur_table")


def rows(count, seed, two_sided, fine=True):
    """Nominals large against tolerances, prior means elsewhere, k not 2, t, many digits or few."""
    draw = np.random.default_rng(seed)

    def whole(least, most, places):
        return D(int(draw.integers(least, most))).scaleb(-places)

    def one():
        nominal = D(int(draw.choice([1_000_000, 10, 250, 0]))) + whole(-999, 999, 2)
        half = whole(1, 999, 2)
        row = {
            "value": nominal + half * whole(-150, 150, 2),
            "U": half * whole(1, 120, 2) if draw.random() > 0.02 else D(0),
            "k": [None, D(2), D("1.96"), D("2.87")][draw.integers(4)],
            "dof": [None, D(4), D(9)][draw.integers(3)],
            "lower": nominal - half,
            "upper": nominal + half,
            "prior_mean": nominal + whole(-3, 4, 1),
            "prior_sd": half * whole(1, 99, 2),
        }
        for name, places in (("value", 17), ("U", 19)):
            if fine and draw.random() < 0.2:
                row[name] += whole(1, 10**9, places)
        if not two_sided and draw.random() < 0.4:
            row[("lower", "upper")[draw.integers(2)]] = None
        return row

    return [one() for _ in range(count)]


def alone(row, rule):
    """Return the global risks and the posterior of a single decision, NaN for none."""
    decided = decide(
        row["value"],
        row["U"],
        Limits(row["lower"], row["upper"]),
        rule,
        k=row["k"] or D(2),
        dof=row["dof"],
        prior=Prior(row["prior_mean"], row["prior_sd"]),
    )
    risks = decided.global_risk or dict.fromkeys(GLOBAL_RISKS)
    return [np.nan if x is None else x for x in (*risks.values(), *decided.posterior.values())]


def together(table, rule):
    texts = {n: [None if row[n] is None else str(row[n]) for row in table] for n in COLUMNS}
    found, errors = decide_rows(texts, rule)
    assert not errors
    return np.transpose([found[name] for name in GLOBAL_RISKS + POSTERIOR])


@pytest.mark.parametrize("guard", GUARDS, ids=lambda guard: f"{guard.basis}-{guard.factor}")
def test_columns_of_text_have_the_bits_of_single_decisions(guard):
    """The single decision is the reference; its risks are held to quadrature in test_risk."""
    rule = Rule(guard=guard)
    table = rows(150, 3, guard.basis in NEEDS_BOTH)
    assert_array_equal(together(table, rule), [alone(row, rule) for row in table])


def test_so_have_the_branches_of_a_rule():
    mapping = {
        "guard": {"basis": "rds"},
        "precondition": {"least_tur": "2"},
        "otherwise": "no_statement",
    }
    rule = rule_from_mapping(mapping)
    table = rows(150, 4, two_sided=True)
    assert_array_equal(together(table, rule), [alone(row, rule) for row in table])


def test_a_nominal_that_is_large_against_its_tolerance_loses_no_digits():
    """By the normal distribution: the items about their mean, and the item given its result."""
    row = dict.fromkeys(COLUMNS) | {
        "value": D("1000002.05"),
        "U": D("0.58"),
        "lower": D("999997.71"),
        "upper": D("1000002.29"),
        "prior_mean": D(1000000),
        "prior_sd": D("1.145"),
    }
    found = together([row], BUILT_IN["simple"])[0]
    mpmath.mp.dps = 30
    sd, u, value, limit = map(mpmath.mpf, ("1.145", "0.29", "2.05", "2.29"))
    spread = mpmath.sqrt(sd**2 + u**2)
    accepted = 1 - 2 * mpmath.ncdf(-limit / spread)
    assert found[3] == pytest.approx(float(accepted), rel=1e-15)
    centre, width = value * (sd / spread) ** 2, sd * u / spread
    outside = mpmath.ncdf((centre - limit) / width) + mpmath.ncdf((-limit - centre) / width)
    assert found[6] == pytest.approx(float(outside), rel=1e-14)


def test_an_acceptance_interval_that_is_one_point_or_less_is_told_from_the_digits():
    """U is half the interval, 1E-19 less or more: the rule accepts the middle alone, or nothing."""
    table = [
        dict.fromkeys(COLUMNS)
        | {
            "value": D("0.1"),
            "U": D("0.2") + more,
            "lower": D("-0.1"),
            "upper": D("0.3"),
            "prior_mean": D("0.1"),
            "prior_sd": D("0.1"),
        }
        for more in (D(0), D("1E-19"), D("-1E-19"))
    ]
    rule = BUILT_IN["guard_U"]
    assert_array_equal(together(table, rule), [alone(row, rule) for row in table])
