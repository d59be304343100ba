"""Distances in units of u have the bits of a rational number that is rounded once."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.distances import Whole, standardised

NAMES = ("value", "U", "k", "lower", "upper")
short = st.decimals(-(10**6), 10**6, places=3)
fine = st.decimals(-1000, 1000, places=14)
cells = st.fixed_dictionaries(
    {
        "value": short | fine,
        "U": st.decimals("0.001", 1000, places=3) | st.decimals("1E-9", 1, places=15),
        "k": st.sampled_from([Decimal(k) for k in ("2", "1.96", "2.8691", "1.645")]),
        "lower": st.none() | short,
        "upper": short | fine,
    }
)


def columns(rows, written):
    found = []
    for name in NAMES:
        texts = ["" if row[name] is None else str(row[name]) for row in rows]
        floats = np.array([float(text) if text else np.nan for text in texts])
        long = np.array([len(text) > 16 for text in texts])
        found.append(Whole.of(floats, written, long if written else None))
    return found


def texts_of(rows):
    return lambda some: {
        n: [None if rows[row][n] is None else str(rows[row][n]) for row in some] for n in NAMES
    }


@given(st.lists(cells, min_size=1, max_size=12))
@settings(deadline=None, max_examples=100)
def test_text_gives_the_float_next_to_the_quotient(rows):
    """Python's own conversion of a Fraction is rounded once, half to even (its documentation)."""
    below, above = standardised(*columns(rows, True), texts_of(rows))
    for place, row in enumerate(rows):
        per_u = Fraction(row["k"]) / Fraction(row["U"])
        assert above[place] == float((Fraction(row["upper"]) - Fraction(row["value"])) * per_u)
        if row["lower"] is None:
            assert np.isnan(below[place])
        else:
            assert below[place] == float((Fraction(row["value"]) - Fraction(row["lower"])) * per_u)


def test_floats_of_at_most_fifteen_digits_are_not_worked_out_one_by_one():
    rows = [
        {name: Decimal(text) for name, text in zip(NAMES, texts, strict=True)}
        for texts in (
            ("10000.1", "0.003", "2", "10000", "10000.3"),
            ("0.30", "0.0001", "2", "0.1", "0.3000001"),
        )
    ]
    below, above = standardised(*columns(rows, False), pytest.fail)
    # 0.1 / 0.0015 and 0.2 / 0.0015; 0.2 / 0.00005 and 0.0000001 / 0.00005: floats would have lost
    # five of their digits.
    assert below.tolist() == [float(Fraction(200, 3)), 4000.0]
    assert above.tolist() == [float(Fraction(400, 3)), 0.002]


def test_a_float_of_more_digits_is_worked_out_where_its_difference_cancels():
    third = 1 / 3
    rows = [
        {"value": third, "U": U, "k": 2, "lower": None, "upper": "0.3333333333333"}
        for U in ("1", "1e-12")
    ]
    asked = []

    def texts(some):
        asked.extend(some)
        return texts_of(rows)(some)

    given = [
        Whole.of(np.array([np.nan if row[n] is None else float(row[n]) for row in rows]))
        for n in NAMES
    ]
    _, above = standardised(*given, texts)
    assert asked == [1]
    exact = (Fraction("0.3333333333333") - Fraction(str(third))) * 2 / Fraction("1e-12")
    assert above[1] == float(exact)
    assert above[0] == pytest.approx(float(exact) * 1e-12, abs=1e-15)


def test_without_uncertainty_a_limit_is_infinitely_far_and_a_value_on_it_inside():
    rows = [
        {"value": Decimal(v), "U": Decimal(0), "k": Decimal(2), "lower": None, "upper": Decimal(1)}
        for v in ("1", "1.1", "0.9", "1.00000000000000000001")
    ]
    below, above = standardised(*columns(rows, True), texts_of(rows))
    assert above.tolist() == [np.inf, -np.inf, np.inf, -np.inf]
    assert np.isnan(below).all()


def test_rows_that_cannot_be_decided_do_no_harm():
    # as_floats makes of text that is no number an infinite one
    U = Whole.of(np.array([np.inf, 0.1]), True, np.array([False, False]))
    one = Whole.of(np.array([1.0, 1.0]))
    none = Whole.of(np.full(2, np.nan))
    texts = {"value": ["1"], "U": ["x"], "k": ["2"], "lower": [None], "upper": ["1"]}
    _, above = standardised(one, U, one, none, one, lambda some: texts)
    assert np.isnan(above[0])
    assert above[1] == 0.0
    empty = Whole.of(np.array([]))
    assert [found.size for found in standardised(*[empty] * 5, pytest.fail)] == [0, 0]
