"""Data frames of any library give the verdicts of single decisions."""

import datetime as dt
import doctest
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pytest
from click.testing import CliRunner

import api.rules
from api import frames as module
from api.cli import main
from api.frames import decide_frame
from api.rules.exact import FieldError
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
    assert decided["error"][0] == "no limit is given"
    assert np.isnan(decided["specific_risk"]).all()


def test_short_floats_count_as_what_they_show():
    given = pd.DataFrame({"value": np.array([0.1], np.float32), "U": 0.0, "upper": 0.1})
    assert decide_frame(given, BUILT_IN["simple"])["verdict"].tolist() == ["pass"]


def test_a_prior_brings_the_global_risks():
    given = {"value": [0.0], "U": [1.0], "lower": [-2.0], "upper": [2.0]}
    decided = decide_frame({**given, "prior_mean": [0.0], "prior_sd": [1.0]}, BUILT_IN["simple"])
    # NASA RP-1342 (read): sigma_x 1, sigma_m 0.5, limits 2
    assert decided["global_consumer_risk"][0] == pytest.approx(0.0123887493078233, abs=1e-12)


DEMO = Path(__file__).parents[2] / "fixtures" / "demo_lab" / "results.csv"
USUAL = {"value": [10.5, 10.9], "U": [0.2, 0.2], "lower": [9.0, 9.0], "upper": [11.0, 11.0]}
OWN = {"id": "own", "guard": {"basis": "U", "factor": "-1"}}
HALF = {"id": "half", "unit": "kN", "tolerance": "0.5"}


def test_the_answers_of_a_table_are_those_of_evaluate(tmp_path):
    """Every row of the demo laboratory: rules of its own, units, tolerances, rows in error."""
    target = tmp_path / "decided.csv"
    CliRunner().invoke(main, ["evaluate", str(DEMO), "-o", str(target)])
    by_file = pd.read_csv(target, dtype=str).drop(columns="error_line")
    decided = decide_frame(pd.read_csv(DEMO, dtype=str))
    assert list(decided.columns) == list(by_file.columns)
    assert decided["error"].notna().sum() == 2
    for name in by_file.columns:
        cells = [None if cell is None or cell != cell else cell for cell in decided[name]]
        texts = [None if cell != cell else cell for cell in by_file[name]]
        if decided[name].dtype == float:
            texts = [None if text is None else float(text) for text in texts]
        assert cells == texts, name


@pytest.mark.parametrize("make", [pd.DataFrame, pl.DataFrame, pa.table])
def test_what_does_not_exist_is_none_and_types_and_the_given_frame_stay(make):
    """`if row.error` is to hold for the rows in error alone; NaN would be true."""
    frame = make(USUAL)
    decided = decide_frame(frame, BUILT_IN["guard_U"])
    errors = decided["error"]
    assert [*(errors.to_pylist() if isinstance(frame, pa.Table) else errors)] == [None, None]
    assert type(decided) is type(frame)
    names = getattr(frame, "column_names", None) or list(frame.columns)
    assert "verdict" not in names
    for name in names:
        before = frame[name].type if isinstance(frame, pa.Table) else frame[name].dtype
        after = decided[name].type if isinstance(frame, pa.Table) else decided[name].dtype
        assert before == after


def test_an_index_of_several_levels_and_twice_the_same_label_stays():
    index = pd.MultiIndex.from_tuples([("a", 1), ("a", 1)])
    decided = decide_frame(pd.DataFrame(USUAL, index=index), "guard_U")
    assert decided.index.equals(index)
    assert decided["verdict"].tolist() == ["pass", "fail"]


def test_each_row_may_have_its_own_rule_unit_and_requirement():
    frame = {
        "value": ["10.5", "11.1", "10.4", "10.04", "10.6"],
        "U": ["0.2", "0.2", None, "0.02", "0.2"],
        "U_rel_pct": [None, None, "1", None, None],
        "lower": ["9", "9", None, None, None],
        "upper": ["11", "11", None, None, None],
        "nominal": [None, None, "10", "10", "10"],
        "tolerance": [None, None, "0.5", None, None],
        "terms": [None, None, None, [{"kind": "percent_of_nominal", "value": "0.5"}], None],
        "specification": [None, None, None, None, "half"],
        "unit": ["kN", "lbf", "kN", "kN", "kN"],
        "rule": [None, "own", "guard_U", "simple", "simple"],
    }
    decided = decide_frame(frame, "guard_U", rules=[OWN], specifications=[HALF])
    # 11 + 0.2; 10.5 - 0.104; 10 + 0.05; 10 + 0.5
    assert decided["verdict"] == ["pass", "pass", "fail", "pass", "fail"]
    assert decided["acceptance_upper"] == ["10.8", "11.2", "10.396", "10.050", "10.5"]
    assert decided["error"] == [None] * 5
    wrong = decide_frame({**frame, "unit": ["kN", "lbf", "kn", "kN", "kN"]}, "guard_U")
    assert wrong["error_field"] == [None, "rule", "unit", None, "specification"]


@pytest.mark.parametrize("rule", ["own", OWN, Rule("own", guard=Guard("U", factor=Decimal(-1)))])
def test_a_rule_is_an_id_an_object_or_a_rule(rule):
    decided = decide_frame({**USUAL, "value": [11.2, 11.3]}, rule, rules=[OWN])
    assert decided["verdict"] == ["pass", "fail"]
    mine = Rule("mine", guard=Guard("none"))
    named = decide_frame({**USUAL, "rule": ["mine", "own"]}, rules=[OWN, mine])
    assert named["verdict"] == ["pass", "pass"]


@pytest.mark.parametrize(
    ("columns", "field", "why"),
    [
        ({"U": None}, "/U", "there is no column 'U'"),
        ({"value": None}, "/value", "there is no column 'value'"),
        ({"upper": None, "Upper": [11.0, 11.0]}, "/Upper", "looks misspelt; write upper"),
        ({"toleranc": [1.0, 1.0]}, "/toleranc", "looks misspelt; write tolerance"),
        ({"verdict": ["x", "y"]}, "/verdict", "is an answer; rename or remove it"),
        ({"error": ["x", "y"]}, "/error", "is an answer; rename or remove it"),
        ({"upper": [11.0]}, "", "columns differ in length: value 2, U 2, lower 2, upper 1"),
    ],
)
def test_columns_that_cannot_be_used_are_refused_as_evaluate_refuses_them(columns, field, why):
    given = {n: c for n, c in {**USUAL, **columns}.items() if c is not None}
    with pytest.raises(FieldError, match=why) as refused:
        decide_frame(given, "simple")
    assert refused.value.field == field


def test_what_is_no_rule_specification_or_frame_is_refused():
    with pytest.raises(FieldError, match="rule 'heard' is not known; known: simple"):
        decide_frame(USUAL, "heard")
    with pytest.raises(FieldError, match="stands twice") as twice:
        decide_frame(USUAL, rules=[OWN, Rule("own", guard=Guard("none"))])
    assert twice.value.field == "/rules"
    with pytest.raises(FieldError, match="stands twice in the file"):
        decide_frame(USUAL, rules=[OWN, OWN])
    with pytest.raises(FieldError, match="tolerance"):
        decide_frame(USUAL, specifications=[{"id": "half"}])
    with pytest.raises(FieldError, match="a unit is needed"):
        decide_frame(USUAL, specifications=[{"id": "half", "tolerance": "1"}])
    with pytest.raises(TypeError, match="a mapping of columns is needed"):
        decide_frame([10.5], "simple")


def test_a_row_without_a_rule_or_with_half_a_prior_has_an_error():
    assert "no decision rule is named" in decide_frame(USUAL)["error"][0]
    decided = decide_frame({**USUAL, "prior_sd": [1.0, None]}, "simple")
    assert decided["error_field"] == ["prior_mean", None]
    decided = decide_frame(dict(ROWS), Rule(guard=Guard("rds")))
    assert [error.split(",")[0] for error in decided["error"]] == [
        "basis 'rds' needs both limits"
    ] * 2


def test_a_whole_number_too_long_for_a_float_keeps_its_digits():
    # 2 ** 53 + 1 is no float; the nearest one lies below the limit.
    for column in (pd.Series([2**53 + 1]), [2**53 + 1], pd.Series([2**53 + 1], dtype="Int64")):
        frame = {"value": column, "U": [0], "upper": [str(2**53)]}
        assert decide_frame(frame, "simple")["verdict"] == ["fail"]


class Printed:
    """Something that prints as a number and is none."""

    def __str__(self):
        return "10"


FOREIGN = [
    pd.Period("2020", freq="Y"),
    Printed(),
    [10],
    (10,),
    {"value": 10},
    {10},
    b"10",
    True,
    dt.date(2020, 1, 1),
    dt.timedelta(1),
    pd.Timestamp("2020-01-01"),
    1j,
]


@pytest.mark.parametrize("cell", FOREIGN, ids=lambda cell: type(cell).__name__)
@pytest.mark.parametrize("name", ["value", "U", "upper", "k", "dof"])
def test_what_is_no_number_is_an_error_of_its_row_alone(name, cell):
    columns = {"value": [10.0, 10.0], "U": [0.1, 0.1], "upper": [11.0, 11.0], name: [cell, 10.0]}
    frame = pd.DataFrame({key: pd.Series(cells, dtype=object) for key, cells in columns.items()})
    found = decide_frame(frame, "simple")
    assert found["verdict"].tolist() == [None, "pass"]
    assert found["error_field"].tolist() == [name, None]
    assert "number" in found["error"][0]


@pytest.mark.parametrize(
    "column",
    [
        pd.Series(pd.period_range("2020", periods=1, freq="Y")),
        pl.Series([dt.timedelta(1)]),
        pl.Series([[10]]),
        pl.Series([[10]], dtype=pl.Array(pl.Int64, 1)),
        pl.Series([b"10"]),
        pl.Series([{"a": 10}]),
        pl.Series([dt.date(2020, 1, 1)]),
        pl.Series([True]),
        pa.chunked_array([[b"10"]]),
        pd.Series([[10]], dtype=pd.ArrowDtype(pa.list_(pa.int64()))),
    ],
    ids=lambda column: str(getattr(column, "dtype", getattr(column, "type", ""))),
)
def test_a_column_of_another_kind_is_refused_row_by_row(column):
    found = decide_frame({"value": column, "U": [0.1], "upper": [11.0]}, "simple")
    assert list(found["verdict"]) == [None]
    assert list(found["error_field"]) == ["value"]
