"""Rows of a batch are decided like single results, on the limit too."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.rules.decide import VERDICTS, decide
from api.rules.exact import plain
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule, RuleError
from api.services.batch_columns import decide_texts

RULES = {
    **BUILT_IN,
    "relaxed": Rule("relaxed", guard=Guard("U", factor=Decimal("-0.5"))),
    "fixed": Rule("fixed", guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3")))),
    "share": Rule("share", guard=Guard("tolerance", share=Decimal("0.2")), zones=4),
    "rds": Rule("rds", guard=Guard("rds")),
    "managed": Rule("managed", guard=Guard("managed")),
    "risk": Rule("risk", guard=Guard("specific_risk", target=Decimal("0.025"))),
}
EXACT = ("simple", "guard_U", "four_state_U", "relaxed", "fixed", "share")
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


def columns_of(table: list[dict[str, str]]) -> dict[str, list[str]]:
    names = ("value", "U", "k", "lower", "upper", "nominal", "tolerance", "rule")
    return {name: [row.get(name, "") for row in table] for name in names}


def single(row: dict[str, str]):
    if row.get("tolerance"):
        limits = Limits.from_nominal(Decimal(row["nominal"]), row["tolerance"])
    else:
        limits = Limits(*(Decimal(row[s]) if row[s] else None for s in ("lower", "upper")))
    rule = RULES[row["rule"]]
    return decide(
        Decimal(row["value"]), Decimal(row["U"]), limits, rule, k=Decimal(row["k"] or "2")
    )


@given(st.lists(rows(), min_size=1, max_size=12))
def test_verdicts_and_exact_limits_equal_those_of_single_decisions(table):
    found = decide_texts(columns_of(table), len(table), RULES)
    for place, row in enumerate(table):
        if place in found.errors:
            with pytest.raises(RuleError, match=re.escape(found.errors[place][1])):
                single(row)
            continue
        expected = single(row)
        assert found.verdict[place] == expected.verdict
        if row["rule"] in EXACT:
            limits = found.acceptance_lower[place], found.acceptance_upper[place]
            accepted = expected.acceptance
            assert limits == tuple(
                "" if limit is None else plain(limit) for limit in (accepted.lower, accepted.upper)
            )
        risk = expected.specific_risk["consumer"]
        assert found.risks["specific_risk"][place] == pytest.approx(risk, rel=1e-6, abs=1e-12)


def test_a_result_on_the_limit_passes_where_binary_arithmetic_says_it_does_not():
    # 0.4 - 0.1 is below 0.3 in binary
    found = decide_texts(
        {"value": ["0.3"], "U": ["0.1"], "upper": ["0.4"]}, 1, {}, RULES["guard_U"]
    )
    assert (found.verdict, found.acceptance_upper) == (["pass"], ["0.3"])


def test_solved_limits_have_fifteen_digits():
    row = {"value": ["0"], "U": ["0.5"], "lower": ["-1"], "upper": ["1"]}
    found = decide_texts(row, 1, {}, RULES["rds"])
    # K = sqrt(1 - 1/4) = 0.866025403784438646...
    assert found.acceptance_upper == ["0.866025403784439"]


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ({"value": "ten"}, "value", "'ten' is not a number"),
        ({"value": "NaN"}, "value", "not a number"),
        ({"value": "1_000"}, "value", "not a number"),
        ({"value": "1.2.3"}, "value", "not a number"),
        ({"value": "１"}, "value", "not a number"),
        ({"value": ""}, "value", "needed"),
        ({"U": ""}, "U", "needed"),
        ({"U": "-1"}, "U", "negative"),
        ({"k": "0"}, "k", "greater than 0"),
        ({"dof": "0"}, "dof", "1 or more"),
        ({"unit": "kg"}, "unit", "unit of mass"),
        ({"lower": "", "upper": ""}, "lower", "at least one"),
        ({"lower": "2", "upper": "1"}, "lower", "above upper"),
        ({"nominal": "1", "tolerance": "1"}, "tolerance", "send one of them"),
        ({"lower": "", "upper": "", "tolerance": "1"}, "nominal", "nominal"),
        ({"lower": "", "upper": "", "nominal": "1-", "tolerance": "1"}, "nominal", "'1-'"),
        ({"lower": "", "upper": "", "nominal": "1", "tolerance": "-1"}, "tolerance", "negative"),
        (
            {"lower": "", "upper": "", "nominal": "1", "tolerance": "1e"},
            "tolerance",
            "not a number",
        ),
        ({"rule": "guardU"}, "rule", "known rules: simple"),
        ({"rule": ""}, "rule", "no decision rule is named"),
        ({"rule": "rds", "upper": ""}, "rule", "both limits"),
        ({"prior_mean": "0"}, "prior_sd", "both"),
        ({"prior_mean": "0", "prior_sd": "-1"}, "prior_sd", "negative"),
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
    found = decide_texts({name: [good[name], bad[name]] for name in good}, 2, RULES)
    assert found.verdict == ["pass", ""]
    assert list(found.errors) == [1]
    assert found.errors[1][0] == field
    assert words in found.errors[1][1]
    assert (found.acceptance_lower[1], found.acceptance_upper[1]) == ("", "")


def test_spaces_around_a_cell_are_no_part_of_it():
    row = {"value": [" 0.5"], "U": ["0.1 "], "upper": ["1"], "rule": [" simple "], "unit": ["kN "]}
    assert decide_texts(row, 1, RULES).verdict == ["pass"]


def test_a_column_that_is_missing_is_an_error_of_each_row():
    found = decide_texts({"value": ["1", "2"]}, 2, RULES, RULES["simple"])
    assert found.errors == {0: ("U", "a number is needed"), 1: ("U", "a number is needed")}


def test_no_rows_are_no_error():
    found = decide_texts({"value": [], "U": []}, 0, RULES)
    assert (found.verdict, found.errors) == ([], {})


def test_priors_bring_the_global_risks():
    row = {"value": ["0"], "U": ["1"], "lower": ["-2"], "upper": ["2"]}
    row |= {"prior_mean": ["0"], "prior_sd": ["1"]}
    found = decide_texts(row, 1, RULES, RULES["simple"])
    # NASA RP-1342 (read): sigma_x 1, sigma_m 0.5, limits 2
    assert found.risks["global_consumer_risk"][0] == pytest.approx(0.0123887493078233, abs=1e-12)


def test_every_verdict_is_reached():
    values = ["10.5", "10.9", "11.1", "11.3"]
    columns = {"value": values, "U": ["0.2"] * 4, "lower": ["9"] * 4, "upper": ["11"] * 4}
    assert decide_texts(columns, 4, RULES, RULES["four_state_U"]).verdict == list(VERDICTS)
