"""Would a spreadsheet run this text as a formula? If so it gets an apostrophe in front.

A spreadsheet takes a cell of a CSV for a formula if it begins with ``=``, ``+``, ``-`` or ``@``,
also in their full width, and some that read it pass over blanks, tabs and line ends first (known as
CSV or formula injection; the list of characters is common practice, no standard has it). A plain
number such as ``-860`` is no formula and stays as it is.

Not covered: a program that splits a line at other marks than commas, and finds a formula within.
"""

from __future__ import annotations

import re

import polars as pl

# Both are read by Python and by the columnar library, whose \s is that of Unicode as well.
_FORMULA = r"^(?:[\t\r\n]|\s*[=+\-@＝＋－＠])"
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,9})?"
_LIKE_FORMULA, _LIKE_NUMBER = re.compile(_FORMULA), re.compile(_NUMBER)


def neutral(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    >>> neutral("=1+1"), neutral(" @SUM(1)"), neutral("C-1"), neutral("-860"), neutral("-8-6")
    ("'=1+1", "' @SUM(1)", 'C-1', '-860', "'-8-6")
    """
    return f"'{text}" if _LIKE_FORMULA.match(text) and not _LIKE_NUMBER.fullmatch(text) else text


def neutral_column(cells: pl.Series) -> pl.Series:
    """Return a column of texts, each as `neutral` returns it; absent ones stay absent."""
    # A quick look: an ASCII letter, and what lies between . and <, digits among it, begin none.
    tame = ((cells >= "A") & (cells < "\x7f")) | ((cells >= ".") & (cells < "="))
    if tame.all():
        return cells
    runs = cells.str.contains(_FORMULA) & ~cells.str.contains(f"^{_NUMBER}$")
    return cells.zip_with(~runs | runs.is_null(), "'" + cells)
