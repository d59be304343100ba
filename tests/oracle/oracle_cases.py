"""Builders of small laboratory records for the hand-computed cases of the oracle's own tests."""

from __future__ import annotations

from typing import Any

Json = dict[str, Any]

OPEN = {"last_good_at": "2025-01-01T00:00:00Z", "isolated_at": "2025-12-31T00:00:00Z"}


def row(applied: str | None = "10", error: str = "0", **more: Any) -> Json:
    """One result in kN with U 0.002 and tolerance 0.01, guard_U, unless told otherwise."""
    made: Json = {"point": 1, "stage": "single", "unit": "kN", "error": error}
    made |= {"U": "0.002", "k": "2", "tolerance": "0.01", "rule": "guard_U"}
    if applied is not None:
        made["applied"] = applied
    return made | more


def percent(error: str, **more: Any) -> Json:
    """One relative result with U 0.02 % and tolerance 0.1 %."""
    made: Json = {"point": 1, "stage": "single", "error_rel_pct": error, "U_rel_pct": "0.02"}
    return made | {"k": "2", "tolerance_rel_pct": "0.1", "rule": "guard_U"} | more


def ref(item: str, weight: Any = None, **more: Any) -> Json:
    """One use as a force reference."""
    made: Json = {"item": item, "role": "force_reference"}
    return made | ({} if weight is None else {"weight": weight}) | more


def cal(
    number: str, item: str, at: str, uses: list[Json], results: Any = None, **more: Any
) -> Json:
    """One issued calibration; `at` is a month-day of 2025 at 10:00Z, or a whole date or instant."""
    made: Json = {
        "certificate": number,
        "revision": 0,
        "status": "issued",
        "item": item,
        "performed_at": f"2025-{at}T10:00:00Z" if len(at) == 5 else at,
        "uses": uses,
        "results": [row()] if results is None else results,
    }
    return made | more


# Who answers for a certificate of a laboratory that is not told in full, so that it can be issued.
ANSWERED = {"by": "Robin Manager", "reason": "this laboratory is not told in full"}


def answered(record: Json) -> Json:
    """The same record, with somebody who answers for what speaks against its issue."""
    return record | {"override": ANSWERED}


def lab(*calibrations: Json, **more: Any) -> Json:
    """A laboratory of these calibrations, with every item that they or `kinds` name."""
    named = {c["item"] for c in calibrations} | {u["item"] for c in calibrations for u in c["uses"]}
    types, kinds = more.pop("types", {}), more.pop("kinds", {})
    items = [
        {"id": n, "kind": kinds.get(n, "working_standard")}
        | ({"type": types[n]} if n in types else {})
        for n in sorted(named | kinds.keys())
    ]
    made: Json = {"items": items, "composition": [], "checks": []}
    return made | {"calibrations": list(calibrations)} | more


def part(
    assembly: str, item: str, share: str | None = None, start: str = "2024-01-01", **more: Any
) -> Json:
    """One stay of a part in an assembly, from midnight UTC of a date on."""
    made: Json = {"assembly": assembly, "part": item, "from": f"{start}T00:00:00Z", "until": None}
    return made | ({} if share is None else {"share": share}) | more


def force_fault(item: str = "REF", delta: str = "0.0005", **more: Any) -> Json:
    """A constant relative error of true force over the whole of 2025."""
    made = {"item": item, "kind": "true_force_relative_error", "delta_rel": delta}
    return made | OPEN | more


def numbers(answer: Json, name: str) -> list[str]:
    """Certificate numbers of one list of an answer, in its order."""
    return [entry["certificate"] for entry in answer[name]]


def find(answer: Json, number: str) -> Json:
    """The one entry of a certificate, over all lists."""
    lists = [entries for name, entries in answer.items() if name != "window"]
    found = [entry for entries in lists for entry in entries if entry["certificate"] == number]
    assert len(found) == 1, f"{number} stands in {len(found)} lists"
    entry: Json = found[0]
    return entry


def only(answer: Json, number: str, *names: str) -> tuple[Any, ...]:
    """Fields of the single point of a certificate."""
    (point,) = find(answer, number)["points"]
    return tuple(point[name] for name in names)
