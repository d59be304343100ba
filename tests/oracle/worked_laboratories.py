"""Laboratories worked by hand for every point of DESIGN section 10 that a recall can show.

Each has id, title, source (section and point), laboratory, `fault` or `faults`, at times
`window_start`, and expected: per list, certificate -> the fields to be checked. Lists that are not
named must be empty, and a named one holds no other certificate. A certificate with two revisions in
one list is given as NUMBER/REVISION the second time. A field given as None must be null or absent.
`differences` serves any answer of that form, the oracle's or one that came over HTTP.
"""

from __future__ import annotations

from typing import Any

from oracle_cases import Json
from worked_compounds import COMPOUNDS
from worked_curves import CURVES
from worked_doubts import DOUBTS
from worked_edges import EDGES
from worked_faults import FAULTS
from worked_limits import LIMITS
from worked_values import VALUES

LABORATORIES: list[Json] = [*VALUES, *DOUBTS, *COMPOUNDS, *FAULTS, *LIMITS, *EDGES, *CURVES]
LISTS = (
    "affected",
    "exposed_zero_effect",
    "indeterminate",
    "traced_not_recalled",
    "cannot_be_excluded",
    "cleared",
)


def request(worked: Json) -> Any:
    """The fault, or the list of faults, of a worked laboratory."""
    return worked["faults"] if "faults" in worked else worked["fault"]


def differences(worked: Json, answer: Json) -> list[str]:
    """What an answer says otherwise than the worked laboratory, in words; empty if nothing."""
    found = []
    if "window_start" in worked and answer["window"]["start"] != worked["window_start"]:
        found.append(f"window starts {answer['window']['start']}")
    for name in LISTS:
        wanted, entries = worked["expected"].get(name, {}), by_number(answer[name])
        if wanted.keys() != entries.keys():
            found.append(f"{name}: {sorted(entries)}, not {sorted(wanted)}")
        for number in wanted.keys() & entries.keys():
            found += [
                f"{name} {number} {words}" for words in unlike(wanted[number], entries[number])
            ]
    return found


def by_number(entries: list[Json]) -> dict[str, Json]:
    """Entries by number, a second revision by NUMBER/REVISION."""
    found: dict[str, Json] = {}
    for entry in entries:
        number = entry["certificate"]
        found[f"{number}/{entry['revision']}" if number in found else number] = entry
    return found


def unlike(wanted: Json, entry: Json) -> list[str]:
    """Fields of an entry, and of its points, that differ."""
    found = []
    for name, value in wanted.items():
        if name != "points" and entry.get(name) != value:
            found.append(f"{name}: {entry.get(name)!r}, not {value!r}")
    points = entry.get("points") or []
    for place, fields in enumerate(wanted.get("points", [])):
        got = points[place] if place < len(points) else {}
        for name, value in fields.items():
            if got.get(name) != value:
                found.append(f"point {place + 1} {name}: {got.get(name)!r}, not {value!r}")
    return found
