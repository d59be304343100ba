"""Whole columns of decimal text, exact: the reference is Python's Decimal, row by row."""

from __future__ import annotations

from decimal import Decimal, localcontext

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import VERDICTS
from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.batches.cells import read_numbers
from api.services.batches.exact import exact_limits

GUARD_U = BUILT_IN["guard_U"]
RELAXED = Rule("relaxed", guard=Guard("U", factor=Decimal("-0.50")))
FIXED = Rule("fixed", guard=Guard("absolute", width=(Decimal("0.10"), Decimal("0.3"))))
SHARE = Rule("share", guard=Guard("tolerance", share=Decimal("0.2")))


def columns(**cells):
    read = {name: read_numbers(pl.Series(c, dtype=pl.String)) for name, c in cells.items()}
    return {name: column for name, column in read.items() if column is not None}


def acceptance(rule, **cells):
    limits = exact_limits(rule, columns(**cells))
    return {name: texts.to_list() for name, texts in limits.acceptance().items()}


def verdicts(rule, value, **cells):
    limits = exact_limits(rule, columns(**cells))
    read = read_numbers(pl.Series(value, dtype=pl.String))
    codes = limits.verdicts(read, np.arange(len(value)), rule.zones).tolist()
    return [VERDICTS[code] if code >= 0 else None for code in codes]


def test_a_limit_has_the_digits_that_decimal_gives_it():
    found = acceptance(GUARD_U, U=["0.20", "0.2", "1"], upper=["11", "11.250", "12"])
    assert found == {"acceptance_upper": ["10.80", "11.050", "11"]}


def test_each_kind_of_band_is_added_exactly():
    row = {"U": ["0.30"], "lower": ["-1.0"], "upper": ["1.25"]}
    # -0.5 x 0.30 = -0.150: lies outside; 0.10 and 0.3; 0.2/2 of 2.25 = 0.225
    assert acceptance(RELAXED, **row) == {
        "acceptance_lower": ["-1.1500"],
        "acceptance_upper": ["1.4000"],
    }
    assert acceptance(FIXED, **row) == {
        "acceptance_lower": ["-0.90"],
        "acceptance_upper": ["0.95"],
    }
    (lower,), (upper,) = acceptance(SHARE, **row).values()
    assert (Decimal(lower), Decimal(upper)) == (Decimal("-0.775"), Decimal("1.025"))


def test_a_tolerance_around_a_nominal_serves_where_no_limit_is_given():
    found = acceptance(
        GUARD_U,
        U=["0.02", "0.5"],
        nominal=["10", None],
        tolerance=["0.1", None],
        upper=[None, "2"],
    )
    assert found == {"acceptance_lower": ["9.92", None], "acceptance_upper": ["10.08", "1.5"]}


places = st.integers(0, 9)
below_bound = 10**12 - 10**8  # with U or a step added still a number that a batch takes
numbers = st.tuples(st.integers(-below_bound, below_bound), places).map(
    lambda pair: Decimal(pair[0]).scaleb(-pair[1])
)
sizes = st.tuples(st.integers(0, 10**7), places).map(lambda pair: Decimal(pair[0]).scaleb(-pair[1]))


@given(st.lists(st.tuples(numbers, sizes, sizes), min_size=1, max_size=30))
@settings(deadline=None, max_examples=60)
def test_every_row_is_what_decimal_says_on_the_limits_and_beside_them(rows):
    fixed = [[format(part, "f") for part in row] for row in rows]
    cells = {"U": [row[1] for row in fixed], "lower": [row[0] for row in fixed]}
    with localcontext(prec=60):
        limits = [lower + U for lower, U, _ in rows]
        tiny = Decimal(1).scaleb(-15)
        below, above = ([format(one + step, "f") for one in limits] for step in (-tiny, tiny))
    on = [format(one, "f") for one in limits]
    assert acceptance(GUARD_U, **cells) == {"acceptance_lower": on}
    assert verdicts(GUARD_U, on, **cells) == ["pass"] * len(rows)
    assert verdicts(GUARD_U, below, **cells) == ["fail"] * len(rows)
    assert verdicts(GUARD_U, above, **cells) == ["pass"] * len(rows)


def test_of_four_zones_an_edge_belongs_to_the_better_one():
    # limits 9 and 11, U = 0.2: accepted to 10.8, on condition to 11, failed on condition to 11.2
    values = ["10.8", "10.80000001", "11", "11.00000001", "11.2", "11.20000001", "8.8", "8.7999"]
    n = len(values)
    found = verdicts(
        BUILT_IN["four_state_U"], values, U=["0.2"] * n, lower=["9"] * n, upper=["11"] * n
    )
    better = ["pass", "conditional_pass", "conditional_pass", "conditional_fail"]
    assert found == [*better, "conditional_fail", "fail", "conditional_fail", "fail"]


@pytest.mark.parametrize(
    ("value", "upper", "known"),
    [
        ("1." + "0" * 22, "2", True),
        ("1." + "0" * 23, "2", False),  # more places than a column of decimals has
        ("1e0", "2", False),
        ("1", "999999999999", True),
        ("1", "1000000000000", False),
        ("1", "1." + "9" * 23, False),
        ("ten", "2", False),
    ],
)
def test_what_does_not_fit_the_column_is_left_to_the_other_way(value, upper, known):
    found = verdicts(GUARD_U, ["1", value], U=["0.1", "0.1"], upper=["2", upper])
    assert found == ["pass", "pass" if known else None]


@pytest.mark.parametrize(
    "rule",
    [
        Rule("rds", guard=Guard("rds")),
        Rule("managed", guard=Guard("managed")),
        Rule("risk", guard=Guard("specific_risk", target=Decimal("0.025"))),
        Rule("long", guard=Guard("U", factor=Decimal("0.12345678901"))),
        Rule("large", guard=Guard("U", factor=Decimal(1000))),
    ],
    ids=lambda rule: rule.id,
)
def test_a_rule_without_short_exact_decimals_is_left_to_the_other_way(rule):
    row = {"U": ["0.1"], "lower": ["-1"], "upper": ["1"]}
    assert exact_limits(rule, columns(**row)) is None
    assert exact_limits(GUARD_U, columns(**row)) is not None


def test_columns_of_floats_have_no_decimals_of_their_own():
    given_as_text = columns(U=["0.1"])
    floats = {"upper": read_numbers(pl.Series([1.0]))}
    assert exact_limits(GUARD_U, given_as_text | floats) is None
