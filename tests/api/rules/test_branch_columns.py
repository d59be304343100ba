"""Columns, rows and frames of a rule with preconditions give what single decisions give.

The reference is `decide`, whose branches are worked by hand in test_branches.py.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.frames import decide_frame
from api.rules.bands import Rows
from api.rules.branch_columns import UNSETTLED, branch_numbers
from api.rules.decide import VERDICTS
from api.rules.judge import Judge
from api.rules.rule import rule_from_mapping
from api.rules.vector import decide_columns, decide_rows
from tests.api.rules.test_vector import scalar

D = Decimal
NONE = {"basis": "none"}
RULES = [
    rule_from_mapping({"guard": NONE, "precondition": {"least_tur": "4"}}),
    rule_from_mapping(
        {
            "guard": NONE,
            "precondition": {"greatest_U_over_T": "1/3"},
            "otherwise": "four_state_U",
        }
    ),
    rule_from_mapping(
        {
            "guard": {"basis": "U", "factor": "0.5"},
            "zones": 4,
            "precondition": {"least_tur": "3"},
            "otherwise": {
                "guard": {"basis": "specific_risk", "target": "0.025"},
                "precondition": {"greatest_U_over_T": "0.9"},
                "otherwise": {
                    "guard": {"basis": "rds"},
                    "precondition": {"least_tur": "0.8"},
                },
            },
        }
    ),
]
# Short numbers, so that ratios fall on their limits; and some that are off by less than a float.
short = st.integers(0, 24).map(lambda n: D(n) / 8)
hair = st.sampled_from([D(0), D("1E-30"), D("1E-9")])


@st.composite
def results(draw) -> dict[str, Decimal | None]:
    lower = draw(st.integers(-30, 30).map(lambda n: D(n) / 10))
    return {
        "value": draw(st.integers(-40, 60).map(lambda n: D(n) / 10)),
        "U": draw(short) / draw(st.sampled_from([1, 2, 4])) + draw(hair),
        "k": draw(st.sampled_from([D(2), D(1), D("2.23"), D("1.96")])),
        "lower": lower,
        "upper": lower + draw(short),
        "dof": draw(st.none() | st.sampled_from([D(10), D(3)])),
        "prior_mean": D("0.1"),
        "prior_sd": D("0.7"),
    }


def texts_of(rows):
    return {name: [None if r[name] is None else str(r[name]) for r in rows] for name in rows[0]}


@pytest.mark.parametrize("rule", RULES)
@given(st.lists(results(), min_size=1, max_size=8))
@settings(deadline=None)
def test_rows_have_verdict_branch_limits_and_risks_of_single_decisions(rule, rows):
    found, errors = decide_rows(texts_of(rows), rule)
    assert errors == []
    for place, row in enumerate(rows):
        alone = scalar(row, rule)
        assert VERDICTS[found["verdict"][place]] == alone.verdict
        assert found["branch"][place] == alone.branch.number
        risks = (
            ("specific_risk", alone.specific_risk["consumer"]),
            ("conformance_probability", alone.conformance_probability),
            ("global_consumer_risk", (alone.global_risk or {}).get("consumer")),
            ("posterior_risk", alone.posterior["risk"]),
            ("acceptance_lower", alone.acceptance.lower),
            ("acceptance_upper", alone.acceptance.upper),
        )
        for name, number in risks:
            expected = np.nan if number is None else float(number)
            assert found[name][place] == pytest.approx(expected, rel=1e-6, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize("rule", RULES)
@given(st.lists(results(), min_size=1, max_size=5))
@settings(deadline=None)
def test_frames_and_judges_agree_too_and_frames_say_why(rule, rows):
    frame = decide_frame(pd.DataFrame(texts_of(rows)), rule)
    judge = Judge(rule)
    for place, row in enumerate(rows):
        alone = scalar(row, rule)
        assert frame["verdict"][place] == alone.verdict
        assert frame["rule_branch"][place] == alone.branch.number
        assert frame["rule_branch_reason"][place] == alone.branch.reason
        ruling = judge.ruling(row["U"], row["lower"], row["upper"], row["k"], row["dof"])
        assert ruling.verdict(row["value"]) == alone.verdict
        assert ruling.branch == alone.branch
        # Over an interval of errors the branch, and so a missing statement, is the same.
        assert alone.verdict in ruling.verdicts(row["value"] - 1, row["value"] + 1)


def test_floats_settle_what_is_off_the_limit_and_leave_the_rest():
    # TUR = 2 / (2 U): 4 on the limit, 5, 2.5; one limit and no number belong to nobody
    rule = RULES[0]
    nan = float("nan")
    U = np.array([0.25, 0.2, 0.4, 0.2, nan])
    lower = np.array([9.0, 9.0, 9.0, nan, 9.0])
    size = np.ones(5)
    rows = Rows(10 * size, U, 2 * size, lower, 11 * size)
    assert branch_numbers(rule, rows).tolist() == [UNSETTLED, 1, 2, UNSETTLED, UNSETTLED]
    found = decide_columns(10 * size, U, 2.0, lower, 11.0, rule)
    assert found["exact_needed"].tolist() == [True, False, False, True, True]
    assert found["verdict"].tolist() == [-1, 0, VERDICTS.index("no_statement"), -1, -1]
    assert np.isnan(found["acceptance_upper"]).tolist() == [True, False, True, True, True]


def test_a_row_that_cannot_be_asked_says_so():
    texts = {"value": ["10", "10"], "U": ["0.1", "0.1"], "lower": ["9", ""], "upper": ["11", "11"]}
    found, errors = decide_rows(texts, RULES[1])
    assert found["verdict"].tolist() == [0, -1]
    assert found["branch"].tolist() == [1, 0]
    (error,) = errors
    assert error.field == "/rule/precondition/greatest_U_over_T"
    assert "needs both limits, and one is absent" in error.message
    frame = decide_frame(pd.DataFrame(texts), RULES[1])
    assert frame["rule_branch_reason"].tolist()[0] == "U/T 0.1 is at most 1/3"
    assert pd.isna(frame["rule_branch"][1])
