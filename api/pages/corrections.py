"""Corrections as a person reads them: what was put right, what it said before, by whom and why.

The old record stays in view (ISO/IEC 17025:2017, 7.5.2, from memory): of a correction the fields
that changed are shown as they were and as they are, of what was added or taken out the whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from api.services.base.record import Record

# The latest ones that a page shows; the API pages through them all.
MOST_SHOWN = 50
_MARK = "withdrawn"


class Line(NamedTuple):
    """One correction: of what, what was done, the fields before and after, by whom and why."""

    at: str
    of: str
    done: str
    before: list[tuple[str, str]]
    after: list[tuple[str, str]]
    by: str
    reason: str


def of_certificate(corrections: Iterable[Record]) -> list[Line]:
    """Return the corrections of a certificate's uses and of its item, the latest first."""
    return _latest_first(
        _line(f"use {one['position']}" if "position" in one else "calibration", one)
        for one in corrections
    )


def of_item(
    checks: Iterable[Record], holdings: Iterable[Record], swaps: Iterable[Record]
) -> list[Line]:
    """Return those of an item's checks and holdings and of its identity, the latest first."""
    lines = [_line(f"check {one['id']}", said) for one in checks for said in one["corrections"]]
    lines += [
        _line(f"{one['part']} in {one['assembly']}", said)
        for one in holdings
        for said in one["corrections"]
    ]
    return _latest_first([*lines, *map(_swap, swaps)])


def _latest_first(lines: Iterable[Line]) -> list[Line]:
    return sorted(lines, key=lambda line: datetime.fromisoformat(line.at), reverse=True)


def _line(of: str, said: Record) -> Line:
    before, after = said.get("before"), said.get("after")
    was, now = bool((before or {}).get(_MARK)), bool((after or {}).get(_MARK))
    done = "corrected"
    if before is None:
        done = "added"
    elif after is None:
        done = "taken out"
    elif now != was:
        done = _MARK if now else "put back"
    whole = before is None or after is None or (now and not was)
    names = [
        name
        for name in dict.fromkeys([*(before or {}), *(after or {})])
        if name != _MARK and (whole or (before or {}).get(name) != (after or {}).get(name))
    ]
    return Line(
        said["at"],
        of,
        done,
        list(_fields(before, names)),
        [] if now and not was else list(_fields(after, names)),
        said["by"],
        said["reason"],
    )


def _swap(said: Record) -> Line:
    until = said.get("until")
    time = f"from {said['from']}" + (f" until {until}" if until else "")
    first, second = said["items"]
    moved = [(name, str(count)) for name, count in said["moved"].items() if count]
    before = [("recorded as", f"{first} and {second}"), ("time", time)]
    after = [("each is", "the other"), *moved]
    return Line(said["at"], "identity", "exchanged", before, after, said["by"], said["reason"])


def _fields(record: Mapping[str, Any] | None, names: Sequence[str]) -> Iterable[tuple[str, str]]:
    """The fields of these names, in words."""
    for name in names:
        value = (record or {}).get(name)
        if value is None:
            continue
        if isinstance(value, Mapping):
            value = ", ".join(f"{key}: {one}" for key, one in value.items())
        elif isinstance(value, list):
            value = ", ".join(map(str, value))
        yield name, str(value)
