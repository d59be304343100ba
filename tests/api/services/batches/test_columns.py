"""Rows of a batch are decided like single results, on the limit too."""

from __future__ import annotations

import re
from decimal import Decimal

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import decide
from api.rules.decimals import acceptance_texts
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule, RuleError, rule_from_mapping
from api.rules.verdicts import ZONES
from api.schemas.batches import row_fault
from api.services.batches.columns import Answers, decide_frame

RULES = {
    **BUILT_IN,
    "relaxed": Rule("relaxed", guard=Guard("U", factor=Decimal("-0.5"))),
    "fixed": Rule("fixed", guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3")))),
    "share": Rule("share", guard=Guard("tolerance", share=Decimal("0.2")), zones=4),
    "rds": Rule("rds", guard=Guard("rds")),
    "managed": Rule("managed", guard=Guard("managed")),
    "reported": rule_from_mapping(
        {
            "id": "reported",
            "guard": {"basis": "U", "factor": "0.5"},
            "zones": 4,
            "decides_on": "reported",
            "precondition": {"greatest_U_over_T": "1"},
            "otherwise": "guard_U",
        }
    ),
    "table": rule_from_mapping(
        {
            "id": "table",
            "guard": {
                "basis": "tur_table",
                "steps": [
                    {"from_tur": "0", "factor": "1"},
                    {"from_tur": "2", "share": "0.25"},
                    {"from_tur": "4", "factor": "0"},
                ],
            },
        }
    ),
    "risk": Rule("risk", guard=Guard("specific_risk", target=Decimal("0.025"))),
    # Simple, else w = U with four zones, else nothing; with a third, which no float is.
    "steps": rule_from_mapping(
        {
            "id": "steps",
            "guard": {"basis": "none"},
            "precondition": {"least_tur": "3"},
            "otherwise": {
                "guard": {"basis": "U", "factor": "1"},
                "zones": 4,
                "precondition": {"greatest_U_over_T": "2/3"},
            },
        }
    ),
    "solved": rule_from_mapping(
        {
            "id": "solved",
            "guard": {"basis": "none"},
            "precondition": {"least_tur": "4"},
            "otherwise": {"guard": {"basis": "rds"}},
        }
    ),
}
# Tenths, so that results fall on limits often, and fine numbers beside them.
coarse = st.integers(-30, 30).map(lambda tenths: str(Decimal(tenths) / 10))
fine = st.decimals(-3, 3, places=17).map(str)
numbers = coarse | fine
magnitudes = st.integers(0, 20).map(lambda tenths: str(Decimal(tenths) / 10))


@st.composite
def rows(draw) -> dict[str, str]:
    """One row: limits on one side or both, or a nominal with a tolerance."""
    row = {"value": draw(numbers), "U": draw(magnitudes), "rule": draw(st.sampled_from([*RULES]))}
    row["k"] = draw(st.sampled_from(["", "2", "2.5"]))
    if draw(st.booleans()):
        return row | {"nominal": draw(numbers), "tolerance": draw(magnitudes)}
    sides = draw(st.sampled_from([("lower",), ("upper",), ("lower", "upper")]))
    limits = sorted((draw(numbers), draw(numbers)), key=Decimal)
    return (
        row
        | dict(zip(("lower", "upper"), limits, strict=True))
        | {side: "" for side in ("lower", "upper") if side not in sides}
    )


def decided(columns: dict[str, list], default: Rule | None = None) -> Answers:
    """Answers for columns of cells; an empty text is an empty cell."""
    cells = {name: [None if cell == "" else cell for cell in c] for name, c in columns.items()}
    kinds = {name: pl.String for name, c in cells.items() if not any(map(_is_typed, c))}
    return decide_frame(pl.DataFrame(cells, schema_overrides=kinds), RULES, default, row_fault)


def _is_typed(cell: object) -> bool:
    return cell is not None and not isinstance(cell, str)


def limits_of(found: Answers) -> list[tuple]:
    return list(zip(*found.limits.values(), strict=True))


def columns_of(table: list[dict[str, str]]) -> dict[str, list[str]]:
    names = ("value", "U", "k", "lower", "upper", "nominal", "tolerance", "rule")
    return {name: [row.get(name, "") for row in table] for name in names}


def shortest(row: dict[str, str]) -> dict[str, str]:
    """The row with its numbers as floats show them."""
    return {n: c if n == "rule" or not c else repr(float(c)) for n, c in row.items()}


def single(row: dict[str, str]):
    if row.get("tolerance"):
        limits = Limits.from_nominal(Decimal(row["nominal"]), row["tolerance"])
    else:
        limits = Limits(*(Decimal(row[s]) if row[s] else None for s in ("lower", "upper")))
    rule = RULES[row["rule"]]
    return decide(
        Decimal(row["value"]), Decimal(row["U"]), limits, rule, k=Decimal(row["k"] or "2")
    )


def check(table, typed=False):
    columns = columns_of(table)
    if typed:
        numbers = [name for name in columns if name != "rule"]
        columns |= {name: [float(c) if c else None for c in columns[name]] for name in numbers}
    found = decided(columns)
    for place, row in enumerate(table):
        if place in found.errors:
            with pytest.raises(RuleError, match=re.escape(found.errors[place][1])):
                single(row)
            continue
        expected = single(row)
        assert found.verdicts()[place] == expected.verdict
        limits = expected.acceptance.lower, expected.acceptance.upper
        shown = limits_of(found)[place]
        risk = expected.specific_risk["consumer"]
        if typed:
            numbers = [None if limit is None else float(limit) for limit in limits]
            assert [None if s is None else float(s) for s in shown] == pytest.approx(numbers)
        else:
            # The same digits, whatever the guard band: those of the exact limits, rounded inwards.
            by = expected.branch.rule
            assert shown == acceptance_texts(None if by is None else by.guard, *limits)
            assert found.risks["specific_risk"][place] == risk
        if expected.branch.checks:
            told = found.branch.numbers[place], found.branch.reasons[place]
            assert told == (expected.branch.number, expected.branch.reason)
        assert found.risks["specific_risk"][place] == pytest.approx(risk, rel=1e-6, abs=1e-12)


@given(st.lists(rows(), min_size=1, max_size=12))
@settings(deadline=None)
def test_verdicts_and_exact_limits_equal_those_of_single_decisions(table):
    check(table)


@given(st.lists(rows().map(shortest), min_size=1, max_size=12))
@settings(deadline=None)
def test_columns_of_floats_count_as_the_decimals_that_they_show(table):
    check(table, typed=True)


def test_decimals_of_a_typed_column_are_exact():
    third = Decimal("0.30000000000000000001")
    columns = {"value": [third, Decimal("0.3")], "U": [Decimal("0.1")] * 2}
    found = decided({**columns, "upper": [Decimal("0.4")] * 2}, RULES["guard_U"])
    assert found.verdicts().to_list() == ["fail", "pass"]


def test_a_result_on_the_limit_passes_where_binary_arithmetic_says_it_does_not():
    # 0.4 - 0.1 is below 0.3 in binary
    for cells in (["0.3", "0.1", "0.4"], [0.3, 0.1, 0.4]):
        columns = {n: [c] for n, c in zip(("value", "U", "upper"), cells, strict=True)}
        found = decided(columns, RULES["guard_U"])
        assert found.verdicts().to_list() == ["pass"]
        assert found.limits["acceptance_upper"].to_list() == [cells[0]]


def test_whole_numbers_and_numbers_of_unequal_length_keep_their_digits():
    columns = {"value": ["10"] * 3, "U": ["1", "0.50", "2E-1"], "upper": ["12", "12.250", "11"]}
    found = decided(columns, RULES["guard_U"])
    assert found.limits["acceptance_upper"].to_list() == ["11", "11.750", "10.8"]


def test_solved_limits_have_twelve_digits_inside_those_that_decided():
    row = {"value": ["0"], "U": ["0.5"], "lower": ["-1"], "upper": ["1"]}
    found = decided(row, RULES["rds"])
    # K = sqrt(1 - 1/4) = 0.866025403784438646...
    assert found.limits["acceptance_upper"].to_list() == ["0.866025403784"]


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ({"value": "ten"}, "value", "not a decimal number"),
        ({"value": "NaN"}, "value", "not a decimal number"),
        ({"value": "1_000"}, "value", "not a decimal number"),
        ({"value": "1.2.3"}, "value", "not a decimal number"),
        ({"value": "１"}, "value", "not a decimal number"),
        ({"value": ""}, "value", "needed"),
        ({"U": ""}, "U", "needed"),
        ({"U": "-1"}, "U", "-1 is smaller than 0"),
        ({"k": "0"}, "k", "0 is not above 0"),
        ({"dof": "0"}, "dof", "0 is smaller than 1"),
        ({"unit": "kg"}, "unit", "unit of mass"),
        ({"lower": "", "upper": ""}, "lower", "no limit is given"),
        ({"lower": "2", "upper": "1"}, "lower", "above upper"),
        ({"nominal": "1", "tolerance": "1"}, "tolerance", "limits and a tolerance are given"),
        ({"lower": "", "upper": "", "tolerance": "1"}, "nominal", "nominal"),
        (
            {"lower": "", "upper": "", "nominal": "1-", "tolerance": "1"},
            "nominal",
            "not a decimal number",
        ),
        (
            {"lower": "", "upper": "", "nominal": "1", "tolerance": "-1"},
            "tolerance",
            "-1 is smaller",
        ),
        (
            {"lower": "", "upper": "", "nominal": "1", "tolerance": "1e"},
            "tolerance",
            "not a decimal number",
        ),
        ({"rule": "guardU"}, "rule", "known rules: simple"),
        ({"rule": ""}, "rule", "no decision rule is named"),
        ({"rule": "rds", "upper": ""}, "rule", "both limits"),
        ({"prior_mean": "0"}, "prior_sd", "half a prior"),
        ({"prior_mean": "0", "prior_sd": "-1"}, "prior_sd", "-1 is smaller"),
    ],
)
def test_a_bad_row_says_which_column_and_why_and_the_good_one_is_decided(row, field, words):
    good = {
        "value": "0.5",
        "U": "0.1",
        "k": "2",
        "dof": "",
        "unit": "kN",
        "lower": "0",
        "upper": "1",
        "nominal": "",
        "tolerance": "",
        "rule": "simple",
        "prior_mean": "",
        "prior_sd": "",
    }
    bad = {**good, **row}
    found = decided({name: [good[name], bad[name]] for name in good})
    assert found.verdicts().to_list() == ["pass", None]
    assert list(found.errors) == [1]
    assert found.errors[1][0] == field
    assert words in found.errors[1][1]
    assert limits_of(found)[1] == (None, None)
    assert np.isnan(found.risks["specific_risk"][1])


def test_spaces_around_a_cell_are_no_part_of_it():
    row = {"value": [" 0.5"], "U": ["0.1 "], "upper": ["1"], "rule": [" simple "], "unit": ["kN "]}
    assert decided(row).verdicts().to_list() == ["pass"]


def test_a_column_that_is_missing_is_an_error_of_each_row():
    found = decided({"value": ["1", "2"]}, RULES["simple"])
    assert found.errors == {0: ("U", "a number is needed"), 1: ("U", "a number is needed")}


def test_no_rows_are_no_error():
    found = decided({"value": [], "U": []})
    assert (found.verdicts().to_list(), found.errors) == ([], {})


def test_priors_bring_the_global_risks():
    row = {"value": ["0"], "U": ["1"], "lower": ["-2"], "upper": ["2"]}
    row |= {"prior_mean": ["0"], "prior_sd": ["1"]}
    found = decided(row, RULES["simple"])
    # NASA RP-1342 (read): sigma_x 1, sigma_m 0.5, limits 2
    assert found.risks["global_consumer_risk"][0] == pytest.approx(0.0123887493078233, abs=1e-12)


def test_every_verdict_is_reached():
    values = ["10.5", "10.9", "11.1", "11.3"]
    columns = {"value": values, "U": ["0.2"] * 4, "lower": ["9"] * 4, "upper": ["11"] * 4}
    assert decided(columns, RULES["four_state_U"]).verdicts().to_list() == list(ZONES)
