"""The chunk kernel fills its arrays, leaves no warning and no number in rows without an answer."""

from decimal import Decimal

import numpy as np

from api.rules.bands import Rows
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR, RISKS, UNDECIDED, decide_chunk
from api.rules.rule import BUILT_IN, Guard, Rule

NAN = np.nan


def decided(rule, **columns):
    arrays = {name: np.array(column, dtype=float) for name, column in columns.items()}
    size = len(arrays["value"])
    out = {"verdict": np.full(size, 9, np.int8), "exact_needed": np.zeros(size, bool)}
    out |= {name: np.full(size, -7.0) for name in LIMITS + RISKS + GLOBAL_RISKS + POSTERIOR}
    with np.errstate(all="raise", under="ignore"):
        decide_chunk(Rows(**arrays), rule, out)
    return out


def test_rows_that_cannot_be_decided_are_blank_and_marked():
    bad = [
        # value, U, k, lower, upper, dof, prior mean, prior sd
        (NAN, 1, 2, 0, 1, NAN, NAN, NAN),
        (np.inf, 1, 2, 0, 1, NAN, NAN, NAN),
        (0, -1, 2, 0, 1, NAN, NAN, NAN),
        (0, 1, 0, 0, 1, NAN, NAN, NAN),
        (0, 1, 2, NAN, NAN, NAN, NAN, NAN),
        (0, 1, 2, 2, 1, NAN, NAN, NAN),
        (0, 1, 2, -np.inf, 1, NAN, NAN, NAN),
        (0, 1, 2, 0, 1, 0.5, NAN, NAN),
        (0, 1, 2, 0, 1, NAN, 0, NAN),
        (0, 1, 2, 0, 1, NAN, 0, -1),
        (0.5, 0.1, 2, 0, 1, 5, 0, 1),
    ]
    names = ("value", "U", "k", "lower", "upper", "dof", "prior_mean", "prior_sd")
    columns = dict(zip(names, zip(*bad, strict=True), strict=True))
    out = decided(BUILT_IN["guard_U"], **columns)
    assert out["verdict"].tolist() == [UNDECIDED] * 10 + [0]
    assert out["exact_needed"].tolist() == [True] * 10 + [False]
    for name in LIMITS + RISKS + GLOBAL_RISKS + POSTERIOR:
        assert np.isnan(out[name][:-1]).all()
        assert np.isfinite(out[name][-1])


def test_a_value_within_rounding_of_any_edge_needs_exact_arithmetic():
    edges = [8.8, 9.0, 9.2, 10.8, 11.0, 11.2]
    values = np.concatenate([np.nextafter(edges, 0), edges, np.add(edges, 1e-9)])
    size = len(values)
    out = decided(
        BUILT_IN["four_state_U"],
        value=values,
        U=[0.2] * size,
        k=[2.0] * size,
        lower=[9.0] * size,
        upper=[11.0] * size,
    )
    assert out["exact_needed"].tolist() == [True] * 12 + [False] * 6


def test_a_closed_row_shows_no_acceptance_limits_and_accepts_nothing():
    out = decided(
        Rule(guard=Guard("rds")),
        value=[0.1],
        U=[2.0],
        k=[2.0],
        lower=[-1.0],
        upper=[1.0],
        prior_mean=[0.0],
        prior_sd=[0.5],
    )
    assert out["verdict"].tolist() == [3]
    assert np.isnan(out["acceptance_lower"][0])
    assert out["global_accepted"][0] == 0.0
    assert not out["exact_needed"][0]


def test_extreme_numbers_raise_no_warning():
    for guard in (
        Guard("U", factor=Decimal(1)),
        Guard("managed"),
        Guard("rds"),
        Guard("specific_risk", target=Decimal("0.02")),
        Guard("global_risk", target=Decimal("0.02")),
    ):
        out = decided(
            Rule(guard=guard),
            value=[0, 1, 1e300, 0, 1e-300, 5, 5],
            U=[0, 0, 1e-300, 1e300, 1e-300, 1, 1],
            k=[2] * 7,
            lower=[-1, 1, -1, -1e-300, 0, 5, NAN],
            upper=[1, 1, 1, 1e-300, 1e-300, 5, 5],
            prior_mean=[0] * 7,
            prior_sd=[1] * 7,
        )
        for name in (*RISKS, "global_consumer_risk", "posterior_risk"):
            shown = out[name][~out["exact_needed"]]
            assert shown.size >= 2
            assert ((shown >= 0.0) & (shown <= 1.0)).all()


def test_a_probability_that_jumps_on_the_limit_is_left_to_exact_arithmetic():
    out = decided(
        BUILT_IN["simple"],
        value=[1.0, 1.0, 0.5],
        U=[0, 0.1, 0],
        k=[2] * 3,
        lower=[0] * 3,
        upper=[1] * 3,
        prior_mean=[0] * 3,
        prior_sd=[1] * 3,
    )
    assert np.isnan(out["specific_risk"]).tolist() == [True, False, False]
    assert np.isnan(out["posterior_risk"]).tolist() == [True, False, False]
    assert out["acceptance_upper"].tolist() == [1.0] * 3


def test_a_value_on_a_tolerance_limit_far_from_acceptance_is_left_to_exact_arithmetic_too():
    rule = Rule(guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3"))))
    out = decided(rule, value=[1.0, 0.5], U=[0, 0], k=[2, 2], lower=[0, 0], upper=[1, 1])
    assert out["exact_needed"].tolist() == [True, False]
    assert np.isnan(out["specific_risk"]).tolist() == [True, False]


def test_a_value_a_hair_off_its_limit_gets_its_risk_from_exact_arithmetic():
    # In floats 0.1 + 0.2 lies above 0.3 by more than this uncertainty.
    out = decided(
        Rule(guard=Guard("U", factor=Decimal(-1))),
        value=[0.1 + 0.2, 0.2],
        U=[1e-18, 1e-18],
        k=[2, 2],
        lower=[0, 0],
        upper=[0.3, 0.3],
    )
    assert out["exact_needed"].tolist() == [True, False]
    assert np.isnan(out["specific_risk"]).tolist() == [True, False]
