"""What of a random laboratory does a failure need? Records are taken out one by one, greedily."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from oracle_bench import Json

COLLECTIONS = ("calibrations", "checks", "composition")
Fails = Callable[[Json], bool]


def reduced(laboratory: Json, fails: Fails) -> Json:
    """The laboratory without the records, uses and results that a failure does not need.

    `fails` tells whether a laboratory still fails. A laboratory that makes it raise ValueError, as
    one whose use names a certificate taken out, counts as one that does not.
    """
    for name in COLLECTIONS:
        laboratory = smaller(laboratory, (name,), fails)
    for place in range(len(laboratory["calibrations"])):
        for name in ("uses", "results"):
            laboratory = smaller(laboratory, ("calibrations", place, name), fails)
    return laboratory


def smaller(laboratory: Json, path: tuple[str | int, ...], fails: Fails) -> Json:
    """The laboratory with the list at a path as short as this takes it."""
    for record in list(at(laboratory, path)):
        kept = [one for one in at(laboratory, path) if one is not record]
        tried = put(laboratory, path, kept)
        try:
            still = fails(tried)
        except ValueError:
            still = False
        laboratory = tried if still else laboratory
    return laboratory


def at(value: Any, path: tuple[str | int, ...]) -> Any:
    """What stands at a path."""
    for step in path:
        value = value[step]
    return value


def put(value: Any, path: tuple[str | int, ...], new: Any) -> Any:
    """A copy with something else at a path; all that is not on the path is shared."""
    if not path:
        return new
    copy: Any = list(value) if isinstance(value, list) else dict(value)
    copy[path[0]] = put(value[path[0]], path[1:], new)
    return copy
