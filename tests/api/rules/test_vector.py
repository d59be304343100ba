"""Columns and single decisions agree bit for bit on verdicts, on every edge too."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import VERDICTS, Prior, acceptance, breakpoints, decide
from api.rules.exact import FieldError
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.rules.vector import RowError, as_floats, decide_columns, decide_rows

RULES = [
    *BUILT_IN.values(),
    Rule(guard=Guard("U", factor=Decimal("-0.5"))),
    Rule(guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3"))), zones=4),
    Rule(guard=Guard("tolerance", share=Decimal("0.2"))),
    Rule(guard=Guard("managed"), zones=4),
    Rule(guard=Guard("rds")),
    Rule(guard=Guard("specific_risk", target=Decimal("0.025"))),
    Rule(guard=Guard("global_risk", target=Decimal("0.002"))),
]
ONE_SIDED = [
    rule for rule in RULES if rule.guard.basis in ("none", "U", "absolute", "specific_risk")
]
numbers = st.decimals(-50, 50, places=2)
factors = st.sampled_from([Decimal("2"), Decimal("1.96"), Decimal("2.65")])
# How far off an edge: on it, below what a float can see, and just visible.
offsets = st.sampled_from([Decimal(x) for x in ("0", "1E-25", "-1E-25", "1E-9", "-1E-9")])


@st.composite
def results(draw, rule, sides=("both",)):
    """One row as Decimals, its value often on an edge of its own zones."""
    lower = draw(numbers)
    upper = lower + draw(st.decimals(0, 20, places=2))
    side = draw(st.sampled_from(sides))
    limits = Limits(None if side == "upper" else lower, None if side == "lower" else upper)
    row = {
        "U": draw(st.decimals(0, 8, places=2)),
        "k": draw(factors),
        "lower": limits.lower,
        "upper": limits.upper,
        "dof": draw(st.none() | st.integers(1, 30).map(Decimal)),
        "prior_mean": draw(numbers),
        "prior_sd": draw(st.decimals("0.5", 20, places=1)),
    }
    prior = Prior(row["prior_mean"], row["prior_sd"])
    found = acceptance(limits, row["U"], rule, k=row["k"], dof=row["dof"], prior=prior)
    edges = breakpoints(limits, found, rule.zones)
    on_edge = st.sampled_from(edges or (lower,)).flatmap(lambda e: offsets.map(lambda o: e + o))
    row["value"] = draw(numbers | on_edge)
    return row


def scalar(row, rule):
    return decide(
        row["value"],
        row["U"],
        Limits(row["lower"], row["upper"]),
        rule,
        k=row["k"],
        dof=row["dof"],
        prior=Prior(row["prior_mean"], row["prior_sd"]),
    )


def compare(rows, rule):
    texts = {
        name: [None if row[name] is None else str(row[name]) for row in rows] for name in rows[0]
    }
    found, errors = decide_rows(texts, rule)
    assert errors == []
    for i, row in enumerate(rows):
        alone = scalar(row, rule)
        assert VERDICTS[found["verdict"][i]] == alone.verdict
        for name, number in (
            ("acceptance_lower", alone.acceptance.lower),
            ("acceptance_upper", alone.acceptance.upper),
            ("specific_risk", alone.specific_risk["consumer"]),
            ("conformance_probability", alone.conformance_probability),
            ("global_consumer_risk", alone.global_risk["consumer"]),
            ("global_accepted", alone.global_risk["accepted"]),
            ("posterior_mean", alone.posterior["mean"]),
            ("posterior_risk", alone.posterior["risk"]),
        ):
            expected = np.nan if number is None else float(number)
            assert found[name][i] == pytest.approx(expected, abs=1e-6, nan_ok=True), name


@pytest.mark.parametrize("rule", RULES, ids=lambda r: f"{r.guard.basis}-{r.zones}")
@given(st.data())
@settings(max_examples=30, deadline=None)
def test_columns_and_single_decisions_agree(rule, data):
    compare(data.draw(st.lists(results(rule), min_size=1, max_size=6)), rule)


@pytest.mark.parametrize("rule", ONE_SIDED, ids=lambda r: f"{r.guard.basis}-{r.zones}")
@given(st.data())
@settings(max_examples=30, deadline=None)
def test_columns_and_single_decisions_agree_on_single_limits(rule, data):
    sides = ("both", "lower", "upper")
    compare(data.draw(st.lists(results(rule, sides), min_size=1, max_size=6)), rule)


def test_a_tenth_and_two_tenths_pass_in_a_column_too():
    texts = {"value": ["0.3", "0.30000000000000000001"], "U": ["0.2"] * 2, "upper": ["0.5"] * 2}
    found, errors = decide_rows(texts, BUILT_IN["guard_U"])
    assert found["exact_needed"].tolist() == [True, True]
    assert [VERDICTS[code] for code in found["verdict"]] == ["pass", "fail"]
    assert errors == []


def test_rows_in_error_name_their_field_as_the_single_decision_does():
    texts = {
        "value": ["", "1e999999", "1", "1", "1", "1", "1", "1", "1"],
        "U": ["1", "1", "-1", "1", "1", "1", "1", "inf", "1"],
        "k": ["2", "2", "2", "0", None, "", "2", "2", "2"],
        "lower": ["0", "0", "0", "0", "", "3", "0", "0", "0"],
        "upper": ["2", "2", "2", "2", None, "2", "2", "2", "2"],
        "dof": [None, None, None, None, None, None, "0", None, None],
    }
    found, errors = decide_rows(texts, BUILT_IN["simple"])
    assert found["verdict"].tolist() == [-1] * 8 + [0]
    assert errors == [
        RowError(0, "/value", "a number is needed"),
        RowError(1, "/value", "must have an exponent between -1000 and 1000"),
        RowError(2, "/U", "U must not be negative"),
        RowError(3, "/k", "k must be greater than 0"),
        RowError(4, "", "at least one of lower and upper is needed"),
        RowError(5, "/lower", "lower must not be above upper"),
        RowError(6, "/dof", "dof must be 1 or more"),
        RowError(7, "/U", "must be a finite number"),
    ]


def test_a_rule_that_does_not_fit_a_row_points_into_the_rule():
    texts = {"value": ["1", "1"], "U": ["0.1", "0.1"], "lower": ["0", None], "upper": ["2", "2"]}
    found, errors = decide_rows(texts, Rule(guard=Guard("managed")))
    assert found["verdict"].tolist() == [0, -1]
    assert [(error.row, error.field) for error in errors] == [(1, "/rule/guard/basis")]


def test_half_a_prior_is_refused():
    texts = {"value": ["1"], "U": ["1"], "upper": ["2"], "prior_mean": ["0"], "prior_sd": [""]}
    assert decide_rows(texts, BUILT_IN["simple"])[1][0].field == "/prior_sd"
    del texts["prior_sd"]
    with pytest.raises(FieldError, match="both prior_mean and prior_sd"):
        decide_rows(texts, BUILT_IN["simple"])


def test_columns_that_are_unknown_missing_or_of_unequal_length_are_refused():
    with pytest.raises(FieldError, match="unknown column 'tolerance'"):
        decide_rows({"value": ["1"], "U": ["1"], "tolerance": ["1"]}, BUILT_IN["simple"])
    with pytest.raises(FieldError, match="the column U is needed"):
        decide_rows({"value": ["1"]}, BUILT_IN["simple"])
    with pytest.raises(FieldError, match="differ in length"):
        decide_columns([1.0, 2.0], [1.0, 1.0, 1.0], 2.0, 0.0, 1.0, BUILT_IN["simple"])


def test_more_rows_than_a_chunk_are_all_decided():
    size = 40_000
    values = np.linspace(0.0, 4.0, size)
    found = decide_columns(values, 0.0, 2.0, 1.0, 3.0, BUILT_IN["simple"])
    expected = np.where((values >= 1.0) & (values <= 3.0), 0, 3)
    sure = ~found["exact_needed"]
    assert sure.sum() > size - 10
    assert (found["verdict"] == expected)[sure].all()


def test_no_rows_are_no_error():
    found, errors = decide_rows({"value": [], "U": [], "upper": []}, BUILT_IN["simple"])
    assert found["verdict"].size == 0
    assert errors == []


def test_text_that_is_no_number_is_never_taken_for_an_absent_limit():
    assert as_floats(["nan", "1"]).tolist() == [np.inf, 1.0]
    assert np.isinf(as_floats(["1,5", "", "nan", "-inf"])[[0, 2, 3]]).all()
    texts = {"value": ["1"], "U": ["1"], "lower": ["none"], "upper": ["2"]}
    assert decide_rows(texts, BUILT_IN["simple"])[1][0].field == "/lower"


@pytest.mark.parametrize("name", ["value", "U", "k"])
@pytest.mark.parametrize("rule", RULES, ids=lambda r: f"{r.guard.basis}-{r.zones}")
def test_a_number_that_is_missing_among_usable_rows_is_never_judged(name, rule):
    """Without it nothing can be decided (ISO/IEC 17025:2017, 7.8.6: a statement rests on results).

    The table is the commonest one: two limits, no degrees of freedom, nothing else odd.
    """
    row = {"value": 10.0, "U": 0.1, "k": 2.0, "lower": 9.0, "upper": 11.0}
    if rule.guard.basis == "global_risk":
        row |= {"prior_mean": 10.0, "prior_sd": 0.5}
    for missing in (np.nan, np.inf, -np.inf):
        columns = {key: np.full(6, number) for key, number in row.items()}
        columns[name][3] = missing
        found = decide_columns(**columns, rule=rule)
        assert found["verdict"].tolist() == [0, 0, 0, -1, 0, 0]
        assert found["exact_needed"][3]
        assert np.isnan(found["specific_risk"][3])
    if name != "k":
        texts = {key: [str(number)] * 6 for key, number in row.items()}
        texts[name][3] = ""
        found, errors = decide_rows(texts, rule)
        assert found["verdict"].tolist() == [0, 0, 0, -1, 0, 0]
        assert errors == [RowError(3, f"/{name}", "a number is needed")]


@pytest.mark.parametrize("basis", ["rds", "managed"])
def test_a_guard_band_that_floats_cannot_hold_passes_nothing(basis):
    # U / k is 0 in floats, so that TUR is 0 / 0. The value is far outside its only point.
    rule = Rule(guard=Guard(basis))
    found = decide_columns(9.0, 5e-324, 3.0, 5.0, 5.0, rule)
    assert (found["verdict"].tolist(), found["exact_needed"].tolist()) == ([-1], [True])
    texts = {"value": ["9"], "U": ["5e-324"], "k": ["3"], "lower": ["5"], "upper": ["5"]}
    found, errors = decide_rows(texts, rule)
    assert (VERDICTS[found["verdict"][0]], errors) == ("fail", [])
