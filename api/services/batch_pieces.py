"""What is a batch made of while it passes through? Pieces of a few thousand rows, and headings.

Choice: a piece holds its rows as a frame, in their order and with the number of each row in what
was sent, so that a batch of any length needs the memory of a few pieces. Not checked here: cells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

import polars as pl

from api.errors import InvalidRecord, Issue
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR
from api.services.batch_columns import INPUTS
from api.services.batch_masks import Faults

TEXTS = ("verdict", *LIMITS)
RISKS = ("conformance_probability", "specific_risk", *GLOBAL_RISKS, *POSTERIOR)
ERRORS = ("error_line", "error_field", "error")
OUTPUTS = (*TEXTS, *RISKS, *ERRORS)
ERROR_FILE = "error_file"  # of a batch in parts
KNOWN = ("id", *INPUTS)
_NEEDED = ("value", "U")
_SPELLINGS = {name.lower(): name for name in KNOWN}


@dataclass(slots=True)
class Piece:
    """Rows of a batch.

    `lines` are their line numbers in text, else their places, from 1. `refused` holds rows that
    could not be read, by position: the column and the reason. `origin` is what the rows were read
    from, where an answer of the same kind can repeat it unchanged. `plain`: no cell has a comma,
    a quotation mark or a line end. `file` is the part that the rows come from, if
    there are several.
    """

    frame: pl.DataFrame
    lines: Sequence[int]
    refused: Faults = field(default_factory=dict)
    origin: Any = None
    plain: bool = False
    file: str | None = None


def check_heading(names: Sequence[str]) -> None:
    """Refuse the heading of a table that cannot be used, see `check_columns`, or lacks a number."""
    check_columns(names)
    missing = [name for name in _NEEDED if name not in names]
    if missing:
        seen = ", ".join(names)[:200]
        issues = [
            Issue("", f"there is no column {name!r}", f"add it; columns found: {seen}", name)
            for name in missing
        ]
        raise InvalidRecord(f"The columns cannot be used: {issues[0].detail}.", issues)


def check_columns(names: Sequence[str]) -> None:
    """Refuse names that stand twice, that an answer would overwrite, or that look misspelt.

    A misspelt limit would otherwise be passed through, and the row decided without it.
    """
    issues = []
    for place, name in enumerate(names):
        near = get_close_matches(name.strip().lower(), _SPELLINGS, 1, 0.8)
        if name in names[:place]:
            issues.append(Issue("", f"the column {name!r} stands twice", "rename one", name))
        elif name in OUTPUTS:
            issue = Issue("", f"the column {name!r} is an answer", "rename or remove it", name)
            issues.append(issue)
        elif name not in KNOWN and near:
            remedy = f"write {_SPELLINGS[near[0]]}, or rename it if it is something else"
            issues.append(Issue("", f"the column {name!r} looks misspelt", remedy, name))
    if issues:
        raise InvalidRecord(f"The columns cannot be used: {issues[0].detail}.", issues)


def unreadable(kind: str, why: str, remedy: str) -> InvalidRecord:
    """Return the error for what cannot be read as what it is said to be."""
    return InvalidRecord(f"The {kind} cannot be read: {why}.", [Issue("", why, remedy)])
