"""What is a batch made of while it passes through? Pieces of a few thousand rows, and headings.

Choice: a piece holds its rows as a frame, in their order and with the number of each row in what
was sent, so that a batch of any length needs the memory of a few pieces. Not checked here: cells.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

import polars as pl

from api.errors import InvalidRecord, Issue, TooLarge
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR
from api.services.batches.columns import INPUTS
from api.services.batches.masks import Faults

TEXTS = ("verdict", *LIMITS)
RISKS = ("conformance_probability", "specific_risk", *GLOBAL_RISKS, *POSTERIOR)
# Which branch of its rule decided a row and why; where a rule that may serve has several.
BRANCH = ("rule_branch", "rule_branch_reason")
ERRORS = ("error_line", "error_field", "error")
OUTPUTS = (*TEXTS, *RISKS, *BRANCH, *ERRORS)
ERROR_FILE = "error_file"  # of a batch in parts
KNOWN = ("id", *INPUTS)
MOST_COLUMNS = 500
# One of each must stand in a heading.
_NEEDED = (("value",), ("U", "U_rel_pct"))
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


class Drain(io.RawIOBase):
    """A file that is emptied as it is written; one that grows would be copied again and again."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def writable(self) -> bool:
        """Say that it can be written."""
        return True

    def write(self, data: Any) -> int:
        """Keep some bytes."""
        self._parts.append(bytes(data))
        return len(data)

    def take(self) -> bytes:
        """Return what has been written since the last time."""
        found = b"".join(self._parts)
        self._parts.clear()
        return found


def counted(pieces: Iterable[Piece], most: int) -> Iterator[Piece]:
    """Pass pieces on; raises TooLarge with the first one that has a row too many."""
    rows = 0
    for piece in pieces:
        rows += piece.frame.height
        if rows > most:
            raise too_many(most)
        yield piece


def too_many(most: int) -> TooLarge:
    """Return the error for a batch that is too long."""
    issue = Issue("", f"more than {most} rows", "send it in smaller parts")
    return TooLarge(f"The batch has more than {most} rows.", [issue])


def check_heading(names: Sequence[str]) -> None:
    """Refuse the heading of a table that cannot be used, see `check_columns`, or lacks a number."""
    check_columns(names)
    missing = [some[0] for some in _NEEDED if not set(some) & set(names)]
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
    check_count(names)
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


def check_count(names: Sequence[str]) -> None:
    """Refuse more columns than anybody needs: every row has a cell in each."""
    if len(names) > MOST_COLUMNS:
        why = f"there are {len(names)} columns, more than {MOST_COLUMNS}"
        issue = Issue("", why, "leave out those that are not needed")
        raise InvalidRecord(f"The columns cannot be used: {why}.", [issue])


def unreadable(kind: str, why: str, remedy: str) -> InvalidRecord:
    """Return the error for what cannot be read as what it is said to be."""
    return InvalidRecord(f"The {kind} cannot be read: {why}.", [Issue("", why, remedy)])
