"""Data frames of any library give the verdicts of single decisions."""

import doctest
from decimal import Decimal

import numpy as np
import pandas as pd
import polars as pl
import pytest

import api.rules
from api.rules import frame as module
from api.rules.exact import FieldError
from api.rules.frame import decide_frame
from api.rules.rule import BUILT_IN, Guard, Rule

GUARDED = BUILT_IN["guard_U"]
ROWS = {"value": [0.3, 1.0], "U": [0.2, 0.1], "upper": [0.5, 0.6]}


def test_the_example_of_the_docstring_runs():
    assert doctest.testmod(module).failed == 0
    assert doctest.testmod(module).attempted


def test_it_is_offered_by_the_package():
    assert api.rules.decide_frame is decide_frame
    with pytest.raises(AttributeError):
        _ = api.rules.decide_farme


@pytest.mark.parametrize("make", [pd.DataFrame, pl.DataFrame, dict])
def test_the_answer_is_a_new_frame_of_the_same_kind(make):
    given = make(ROWS)
    decided = decide_frame(given, GUARDED)
    assert type(decided) is type(given)
    assert list(decided["verdict"]) == ["pass", "fail"]
    assert list(decided["value"]) == [0.3, 1.0]
    # 0.5 - 0.2 and 0.6 - 0.1
    assert list(decided["acceptance_upper"]) == [0.3, 0.5]
    assert "verdict" not in given


def test_an_index_and_other_columns_stay():
    given = pd.DataFrame({**ROWS, "id": ["007", "008"]}, index=["x", "y"])
    decided = decide_frame(given, GUARDED)
    assert list(decided.index) == ["x", "y"]
    assert list(decided["id"]) == ["007", "008"]
    assert list(decided["verdict"]) == ["pass", "fail"]


@pytest.mark.parametrize("kind", [str, Decimal])
def test_text_and_decimals_keep_their_digits(kind):
    cells = [kind("0.30000000000000000001"), kind("0.3"), None]
    given = pd.DataFrame({"value": cells, "U": [0.2] * 3, "upper": [kind("0.5")] * 3})
    decided = decide_frame(given, GUARDED)
    assert list(decided["verdict"].fillna("none")) == ["fail", "pass", "none"]
    assert decided["error"].tolist()[2] == "a number is needed"


def test_a_row_that_cannot_be_decided_says_why():
    given = pd.DataFrame({"value": [1.0, np.nan, np.inf], "U": 0.1, "upper": [np.nan, 2.0, 2.0]})
    decided = decide_frame(given, GUARDED)
    assert decided["verdict"].isna().all()
    assert decided["error_field"].tolist()[1:] == ["value", "value"]
    assert "at least one of" in decided["error"][0]
    assert np.isnan(decided["specific_risk"]).all()


def test_short_floats_count_as_what_they_show():
    given = pd.DataFrame({"value": np.array([0.1], np.float32), "U": 0.0, "upper": 0.1})
    assert decide_frame(given, BUILT_IN["simple"])["verdict"].tolist() == ["pass"]


def test_a_prior_brings_the_global_risks():
    given = {"value": [0.0], "U": [1.0], "lower": [-2.0], "upper": [2.0]}
    decided = decide_frame({**given, "prior_mean": [0.0], "prior_sd": [1.0]}, BUILT_IN["simple"])
    # NASA RP-1342 (read): sigma_x 1, sigma_m 0.5, limits 2
    assert decided["global_consumer_risk"][0] == pytest.approx(0.0123887493078233, abs=1e-12)


def test_a_missing_column_and_an_unfit_rule_are_told():
    with pytest.raises(FieldError, match="the column U is needed"):
        decide_frame({"value": [1.0]}, GUARDED)
    with pytest.raises(FieldError, match="both prior_mean"):
        decide_frame({**ROWS, "prior_sd": [1.0, 1.0]}, GUARDED)
    decided = decide_frame(dict(ROWS), Rule(guard=Guard("rds")))
    assert [error.split(",")[0] for error in decided["error"]] == [
        "basis 'rds' needs both limits"
    ] * 2
