"""What a spreadsheet would run gets an apostrophe; numbers and other texts stay as they are."""

from __future__ import annotations

import polars as pl
import pytest

from api.services.base.formulas import neutral, neutral_column

RUN = [
    *(
        "=1",
        "+1+1",
        "-1-1",
        "@x",
        "\t=1",
        "\r=1",
        "\n=1",
        "\tx",
        " =1",
        "\u00a0=1",
        "=cmd|' /C x'!A0",
    ),
    *("＝1", "＋a", "－a", "＠a", "-", "--1", "+860x", "-1.5e", "-860\n", "- 860", "=-860"),
]
LEFT = [
    *("", "C-1", "[-0.1, 0.1]", "'=1", "a=1", "860", "-860", "+860", "-8.6", "-.5", "-860e3"),
    *("-1.5E-12", "Ω-1", "é=1", " x", "~1", "!x", "*1"),
]


@pytest.mark.parametrize("text", RUN)
def test_a_text_that_could_be_a_formula_gets_an_apostrophe(text):
    assert neutral(text) == f"'{text}"


@pytest.mark.parametrize("text", LEFT)
def test_a_number_and_any_other_text_stays(text):
    assert neutral(text) == text


def test_a_column_is_treated_as_its_texts_are():
    cells = [*RUN, None, *LEFT]
    expected = [None if cell is None else neutral(cell) for cell in cells]
    assert neutral_column(pl.Series(cells)).to_list() == expected


def test_a_column_without_doubt_is_not_touched():
    cells = pl.Series(["C-1", "C-2", None])
    assert neutral_column(cells) is cells
