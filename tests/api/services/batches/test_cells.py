"""Which number a cell holds is Python's reading of it; whatever is not plainly one is looked at."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from math import isnan

import numpy as np
import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from api.services.batches.cells import read_numbers

# What the API takes for a decimal number: a JSON number, with a sign and zeros as people write.
DECIMAL = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,9})?")
NAN = float("nan")


def text(*cells):
    return read_numbers(pl.Series(cells, dtype=pl.String))


def test_text_is_read_to_the_nearest_float_and_keeps_its_digits():
    found = text("0.10", "-860", "1e3", "0.1000000000000000055511151231")
    assert found.floats.tolist() == [0.1, -860.0, 1000.0, 0.1]
    assert not found.odd.any()
    assert found.is_text
    assert found.texts(np.array([3, 0])) == ["0.1000000000000000055511151231", "0.10"]


def test_an_empty_cell_is_no_number_and_not_odd():
    found = text("1", None, "", " \t")
    assert [isnan(number) for number in found.floats] == [False, True, True, True]
    assert not found.odd.any()
    assert found.texts(np.array([0, 1, 2])) == ["1", "", ""]


def test_a_column_without_any_cell_is_none():
    assert text(None, None) is None
    assert text("", "  ") is None
    assert read_numbers(pl.Series([], dtype=pl.Float64)) is None


def test_spaces_around_a_cell_are_no_part_of_it():
    found = text(" 0.50", "2\t", "x")
    assert found.texts(np.array([0, 1])) == ["0.50", "2"]
    assert found.odd.tolist() == [False, False, True]


@pytest.mark.parametrize(
    "cell",
    [
        "ten",
        "1,5",
        "nan",
        "inf",
        "-infinity",
        "1e400",  # beyond binary64
        "1e31",
        "1e-31",
        "0e999999999999",  # a zero does not show its exponent
        "1e0000000000000001",
        "0." + "1" * 29,  # 31 characters
    ],
)
def test_what_a_single_decision_might_refuse_is_looked_at(cell):
    found = text("1", cell)
    assert found.odd.tolist() == [False, True]


@given(st.lists(st.text("0123456789.eE+-_ \t naifx\u0661１", max_size=12), max_size=60))
@example(["1_000", "+.5", "5.", "-0", ".", "e5", "0x1p3", "1e5", "+5", "--5", "5e", "\u0661"])
@settings(deadline=None, max_examples=60)
def test_a_cell_that_is_not_odd_is_a_decimal_number_as_python_reads_it(cells):
    found = text(*cells)
    if found is None:
        assert all(not cell.strip(" \t") for cell in cells)
        return
    for cell, number, odd in zip(cells, found.floats.tolist(), found.odd.tolist(), strict=True):
        bare = cell.strip(" \t")
        if not bare:
            assert isnan(number)
        elif not odd:
            assert DECIMAL.fullmatch(bare)
            assert number == float(bare)


def test_a_column_of_one_number_is_read_like_any_other():
    found = text(*["2.50"] * 5)
    assert found.floats.tolist() == [2.5] * 5
    assert found.texts(np.array([4])) == ["2.50"]
    assert text(*["two"] * 3).odd.all()


def test_floats_are_taken_as_they_are_and_shown_in_their_shortest_form():
    found = read_numbers(pl.Series([0.1, None, 1e30, NAN, float("inf"), -0.0]))
    assert found.odd.tolist() == [False, False, True, True, True, False]
    assert not found.is_text
    assert found.texts(np.array([0, 1])) == ["0.1", ""]


def test_a_short_float_means_the_number_that_it_shows():
    # 0.1 in binary32 is 0.100000001490116...; a person who wrote 0.1 meant 0.1
    found = read_numbers(pl.Series([0.1, 16777216.0], dtype=pl.Float32))
    assert found.floats.tolist() == [0.1, 16777216.0]
    assert not found.odd.any()


def test_decimals_keep_every_digit():
    number = Decimal("0.30000000000000000001")
    found = read_numbers(pl.Series([number], dtype=pl.Decimal(30, 20)))
    assert found.texts(np.array([0])) == [str(number)]
    assert found.floats.tolist() == [0.3]


def test_whole_numbers_beyond_the_floats_are_looked_at():
    # 2^53 + 1 is the first whole number that binary64 has not (IEEE 754)
    found = read_numbers(pl.Series([2**53 - 1, 2**53 + 1, -3, None], dtype=pl.Int64))
    assert found.odd.tolist() == [False, True, False, False]


@pytest.mark.parametrize("cells", [[True, None], [date(2025, 6, 1), None], [[1.0], None]])
def test_what_is_no_number_by_its_type_is_looked_at(cells):
    found = read_numbers(pl.Series(cells))
    assert found.odd.tolist() == [True, False]
    assert np.isnan(found.floats).all()
