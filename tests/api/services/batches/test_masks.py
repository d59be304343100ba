"""Masks over columns find every row that the row schema refuses, and rows get its messages."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.rule import BUILT_IN
from api.schemas.batches import row_fault
from api.services.batches.columns import decide_frame
from api.services.batches.masks import NUMBERS, PRIOR, read_table

NAMES = (*NUMBERS, *PRIOR)
ODD = [
    *("", " ", "x", "-", "1,5", "1_0", "0x1", "1e5", "1E-5", "1e31", "1e-31", "1e61", "1e-61"),
    *("0e61", "0e-99", "1e400", "inf", "-Infinity", "nan", "NaN", "+.5", "5.", ".", "+-1", "١"),
    *("1" * 31, "1" * 61, "0." + "0" * 59 + "1", "0." + "3" * 62, "-0", "1e0000000000001"),
    *(
        "0.30000000000000000001",
        "0.3",
        "0.30",
        "1",
        "2",
        "-1",
        "-2.5",
        " 1 ",
        "\t2",
        "1 2",
        "\x1f",
        "1\u00a0",
    ),
]
cells = st.sampled_from(ODD) | st.decimals(-5, 5, places=1).map(str) | st.text(max_size=4)
usual = st.decimals(1, 9, places=2).map(str)


@st.composite
def rows(draw) -> dict[str, str]:
    """A row that could be decided, with a few of its cells replaced."""
    row = {"value": draw(usual), "U": draw(usual), "lower": "0", "upper": "9"}
    if draw(st.booleans()):
        row |= {"nominal": draw(usual), "tolerance": draw(usual), "lower": "", "upper": ""}
    for name in draw(st.lists(st.sampled_from(NAMES), max_size=3)):
        row[name] = draw(cells)
    return row


def present(row: dict[str, str]) -> dict[str, str]:
    return {name: cell.strip(" \t") for name, cell in row.items() if cell.strip(" \t")}


@given(st.lists(rows(), min_size=1, max_size=8))
@settings(deadline=None, max_examples=400)
def test_a_row_is_refused_with_the_message_of_the_schema_and_only_then(table):
    asked = []

    def explain(row):
        asked.append(row)
        return row_fault(row)

    frame = pl.DataFrame(
        {name: [row.get(name) or None for row in table] for name in NAMES},
        schema=dict.fromkeys(NAMES, pl.String),
    )
    found = decide_frame(frame, BUILT_IN, BUILT_IN["simple"], explain)
    faults = [row_fault(present(row)) for row in table]
    assert [found.errors.get(place) for place in range(len(table))] == faults
    # What passes the masks never meets the schema.
    assert len(asked) == read_table(frame).odd.sum()


def test_rows_of_every_day_are_not_suspected():
    texts = ["-12.50", "0", "0.00", "1e3", "123456789012.123456789", "+7"]
    frame = pl.DataFrame({"value": texts, "U": ["0.5"] * 6, "upper": ["9"] * 6})
    assert not read_table(frame).odd.any()


@pytest.mark.parametrize(
    ("column", "odd"),
    [
        ([1.0, None, float("nan"), float("inf"), 1e-40], [False, True, True, True, True]),
        ([1, None, 2**53, 2**53 - 1], [False, True, True, False]),
        ([True, False], [True, True]),
        ([Decimal("0.1"), None], [False, True]),
    ],
)
def test_typed_columns_are_read_as_they_are(column, odd):
    size = len(column)
    frame = pl.DataFrame({"value": column, "U": [0.1] * size, "upper": [2.0] * size})
    assert read_table(frame).odd.tolist() == odd


def test_a_short_float_stands_for_the_decimal_that_it_shows():
    value = pl.Series("value", [0.1], dtype=pl.Float32)
    frame = pl.DataFrame([value]).with_columns(U=pl.lit(0.0), upper=pl.lit(0.1))
    found = decide_frame(frame, BUILT_IN, BUILT_IN["simple"], row_fault)
    assert (found.verdicts().to_list(), np.isnan(found.risks["specific_risk"][0])) == (
        ["pass"],
        False,
    )
