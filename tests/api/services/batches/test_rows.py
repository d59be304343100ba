"""Rows decided one by one from their text: exact on the limit, each error with its column."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from api.rules.decide import VERDICTS
from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.batches.rows import decide_one_by_one

GUARD_U = BUILT_IN["guard_U"]


def decided(rule=GUARD_U, **columns):
    found = decide_one_by_one(columns, rule)
    codes = found.found["verdict"].tolist()
    return [VERDICTS[code] if code >= 0 else None for code in codes], found


def test_a_result_on_the_acceptance_limit_passes_and_one_digit_further_fails():
    # 0.4 - 0.1 = 0.3; in binary the difference is above or below, here it is the limit itself
    values = ["0.3", "0.30000000000000000000000000000000000001", "0.29999999999999999999"]
    verdicts, found = decided(value=values, U=["0.1"] * 3, upper=["0.4"] * 3)
    assert verdicts == ["pass", "fail", "pass"]
    assert found.limits == ([""] * 3, ["0.3"] * 3)


def test_an_acceptance_limit_has_the_digits_that_subtraction_gives_it():
    # 11 - 0.20 = 10.80; 1E+2 - 1 = 99, without an exponent
    _, found = decided(value=["0", "0"], U=["0.20", "1"], upper=["11", "1E+2"])
    assert found.limits[1] == ["10.80", "99"]


def test_a_limit_that_comes_from_a_root_has_twelve_digits():
    # K = sqrt(1 - 0.5^2) = 0.866025403784438646...
    rule = Rule("rds", guard=Guard("rds"))
    _, found = decided(rule, value=["0"], U=["0.5"], lower=["-1"], upper=["1"])
    assert found.limits == (["-0.866025403784"], ["0.866025403784"])


def test_a_share_of_the_tolerance_and_a_fixed_width_need_no_rounding():
    # 0.2 of half of (1 - -1) is 0.2; widths 0.1 below and 0.3 above
    share = Rule("share", guard=Guard("tolerance", share=Decimal("0.2")))
    fixed = Rule("fixed", guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3"))))
    row = {"value": ["0"], "U": ["0.5"], "lower": ["-1"], "upper": ["1"]}
    for rule, limits in ((share, ("-0.8", "0.8")), (fixed, ("-0.9", "0.7"))):
        _, found = decided(rule, **row)
        got = [Decimal(side[0]) for side in found.limits]
        assert got == [Decimal(limit) for limit in limits]


def test_a_tolerance_lies_around_the_nominal_in_the_rows_that_give_one():
    # 10 - 0.1 and 10 + 0.1, less U = 0.02; the second row has limits of its own
    verdicts, found = decided(
        value=["10.08", "1"],
        U=["0.02", "0.5"],
        nominal=["10", ""],
        tolerance=["0.1", ""],
        lower=["", "0"],
        upper=["", "2"],
    )
    assert verdicts == ["pass", "pass"]
    assert found.limits == (["9.92", "0.5"], ["10.08", "1.5"])


def test_an_error_names_the_column_and_costs_no_other_row():
    verdicts, found = decided(
        value=["1", "1", "1", "1"],
        U=["0.1", "-0.1", "0.1", "0.1"],
        k=["2", "2", "0", "2"],
        upper=["2", "2", "2", ""],
    )
    assert verdicts == ["pass", None, None, None]
    assert {row: field for row, (field, _) in found.errors.items()} == {1: "U", 2: "k", 3: "lower"}
    assert found.limits[1] == ["1.9", "", "", ""]
    assert np.isnan(found.found["specific_risk"][1:]).all()


@pytest.mark.parametrize(
    ("prior", "field"),
    [({"prior_mean": "", "prior_sd": "1"}, "prior_mean"), ({"prior_sd": "-1"}, "prior_sd")],
)
def test_a_fault_of_the_prior_is_in_its_own_column(prior, field):
    columns = {"prior_mean": "0", "prior_sd": "1", **prior}
    cells = {name: [cell] for name, cell in columns.items()}
    _, found = decided(value=["0"], U=["1"], lower=["-2"], upper=["2"], **cells)
    assert found.errors[0][0] == field


def test_a_rule_that_needs_both_limits_says_so_of_a_row_with_one():
    share = Rule("share", guard=Guard("tolerance", share=Decimal("0.2")))
    verdicts, found = decided(
        share, value=["0", "0"], U=["1", "1"], lower=["-2", ""], upper=["2", "2"]
    )
    assert verdicts == ["pass", None]
    assert list(found.errors) == [1]
    assert "both limits" in found.errors[1][1]
