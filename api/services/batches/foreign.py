"""Cells that are neither a number nor a text: dates, bytes, lists and whatever prints digits.

They are written so that nobody takes them for a number, and their row says what stood there.
"""

from __future__ import annotations

import polars as pl

_SHOWN = 40


def foreign(cell: object) -> str:
    """Write one cell with its type in front.

    >>> foreign(b"10"), foreign([10])
    ("bytes b'10'", 'list [10]')
    """
    return f"{type(cell).__name__} {str(cell)[:_SHOWN]}"


def is_usual(kind: pl.DataType) -> bool:
    """Whether a column of this type holds numbers, text or nothing.

    >>> is_usual(pl.Decimal(10, 2)), is_usual(pl.Binary())
    (True, False)
    """
    return kind.is_numeric() or kind in (pl.String, pl.Null)
