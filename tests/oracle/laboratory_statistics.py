"""How often does each feature of the random laboratories reach an answer that is not trivial?

    python tests/oracle/laboratory_statistics.py [COUNT [FIRST]]

prints, over COUNT laboratories by seed (1000 from seed 0), in how many the oracle's answer shows a
list, a reason or a form of entry, and in how many the answer would be another one if a feature were
taken out of the records or out of the fault. Not counted: a feature that changes nothing.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from laboratories import of_seed
from oracle_bench import Json
from recall_oracle import LISTS, recall

Pair = tuple[Json, list[Json]]
REACHED = ("affected", "exposed_zero_effect", "indeterminate")


def seen(lab: Json, faults: list[Json], answer: Json) -> Iterator[str]:
    """What the answer shows: lists, reasons, forms of entries."""
    voided = {(c["certificate"], c["revision"]) for c in lab["calibrations"] if "voided_at" in c}
    twice = {c["certificate"] for c in lab["calibrations"] if listed_twice(c, faults)}
    entries = [entry for name in REACHED for entry in answer[name]]
    for name in LISTS:
        if answer[name]:
            yield f"list {name}"
    for entry in answer["cannot_be_excluded"]:
        yield from (f"excluded not: {reason}" for reason in entry["reasons"])
    for entry in answer["cleared"]:
        yield f"cleared: {entry['reason']}"
    for entry in answer["traced_not_recalled"]:
        yield f"traced: {entry['reason']}"
        if (entry["certificate"], entry["revision"]) in voided:
            yield "traced: voided with a date"
    for entry in entries:
        yield from (f"doubts: {reason}" for reason in entry.get("doubts", ()))
        yield from form_of(entry)
        if entry["certificate"] in twice and entry["class"] == "affected":
            yield "faulty channel listed twice"
        yield from (name for point in entry["points"] for name in form_of_point(point))
    if entries:
        yield from (f"fault {name}" for fault in faults for name in form_of_fault(fault))
    if len(faults) > 1 and answer["affected"]:
        yield "several faults with an effect"


def listed_twice(record: Json, faults: list[Json]) -> bool:
    """True if a calibration lists a faulty channel twice in one role of a readout."""
    channels = {(fault["item"], fault["channel"]) for fault in faults if "channel" in fault}
    uses = [use for use in record["uses"] if (use["item"], use.get("channel")) in channels]
    return any(uses.count(use) > 1 and use["role"] != "display" for use in uses)


def form_of(entry: Json) -> Iterator[str]:
    """Forms of one entry of the first three lists."""
    if "reason" in entry:
        yield f"indeterminate: {entry['reason']}"
    for name in ("external", "date_only", "could_change"):
        if name in entry:
            yield name
    for path in entry["reason_paths"]:
        rigs = [name for name in path if name.startswith("RIG")]
        if rigs and len(path) > 2 and not path[-3].startswith("C-") and path[-2] == rigs[-1]:
            yield f"part of a machine {entry['class']}"
        if len(rigs) > 1 and path[-3:-1] == ["RIG-1", "RIG-2"]:
            yield f"part of an inner machine {entry['class']}"
    if entry["path_count"] > 1:
        yield "several paths"
    if entry["generation"] > 2:
        yield "third generation or later"


def form_of_point(point: Json) -> Iterator[str]:
    """Forms of one point."""
    if point.get("U_after") is not None:
        yield "U_after given"
        if point["shift"] == "0":
            yield "U_after at a shift of 0"
    if point["changed"]:
        yield "verdict changed"
    if point["changed"] is None and point["delta_rel"] is not None:
        yield "verdict undecided at a known delta"


def form_of_fault(fault: Json) -> Iterator[str]:
    """Kind and limits of a fault."""
    kind = "zero delta" if fault.get("delta_rel") == "0" else fault["kind"]
    kind = "segments" if "segments" in fault else kind
    yield kind + (" with only" if "only" in fault else "")
    if "certificate" in fault:
        yield "of a certificate"
    yield from (f"only {name}" for name in fault.get("only", ()))


def without(*names: str) -> Callable[[Json], None]:
    """A change that takes fields out of a record."""

    def change(record: Json) -> None:
        for name in names:
            record.pop(name, None)

    return change


def noon(record: Json) -> None:
    """A change of a bare date of calibration into the noon of that day."""
    if len(record["performed_at"]) == 10:
        record["performed_at"] += "T12:00:00Z"


def second_later(name: str) -> Callable[[Json], None]:
    """A change of an instant to a second later, so that what meets it exactly shows."""

    def change(record: Json) -> None:
        if len(record.get(name, "")) > 10:
            moved = datetime.fromisoformat(record[name]) + timedelta(seconds=1)
            record[name] = moved.isoformat()

    return change


def unsigned(record: Json) -> None:
    """A change that drops a minus sign of a force, and what is drawn from it."""
    if record.get("applied", "").startswith("-"):
        record["applied"] = record["applied"][1:]


def machines_unvalued(record: Json) -> None:
    """A change that takes a machine's own calibration out of force."""
    if record["item"].startswith("RIG"):
        record["status"] = "draft"


def drop(collection: str, wanted: Callable[[Json], bool]) -> Callable[[Json], None]:
    """A change of a laboratory that takes records out of a collection."""

    def change(lab: Json) -> None:
        lab[collection] = [record for record in lab[collection] if not wanted(record)]

    return change


def each(level: str, change: Callable[[Json], None]) -> Callable[[Pair], None]:
    """A change applied to every record of a level: lab, fault, calibrations, uses, results ..."""

    def apply(pair: Pair) -> None:
        lab, faults = pair
        records = {"lab": [lab], "fault": faults}.get(level)
        if records is None and level in ("uses", "results"):
            records = [one for c in lab["calibrations"] for one in c[level]]
        for record in lab[level] if records is None else records:
            change(record)

    return apply


FEATURES: dict[str, Callable[[Pair], None]] = {
    "void dates": each("calibrations", without("voided_at")),
    "issue dates": each("calibrations", without("issued_at")),
    "the instant of a void": each("calibrations", second_later("voided_at")),
    "the instant of an issue": each("calibrations", second_later("issued_at")),
    "modes": each("calibrations", without("mode")),
    "directions": each("results", without("direction")),
    "negative forces": each("results", unsigned),
    "shares": each("composition", without("share")),
    "machines' parts": each("lab", drop("composition", lambda c: c["assembly"][:3] == "RIG")),
    "readouts in machines": each("lab", drop("composition", lambda c: c["part"] == "RO-2")),
    "machines' own values": each("calibrations", machines_unvalued),
    "limits of faults": each("fault", without("only")),
    "checks": each("lab", drop("checks", lambda check: True)),
    "modes of checks": each("checks", without("mode")),
    "references of checks": each("checks", without("against")),
    "factors recorded": each("uses", without("factor_applied")),
    "points of uses": each("uses", without("points")),
    "instants of uses": each("uses", without("performed_at")),
    "named certificates": each("uses", without("certificate", "revision")),
    "channels of uses": each("uses", without("channel")),
    "assigns_value": each("calibrations", without("assigns_value")),
    "bare dates": each("calibrations", noon),
    "time zone": each("lab", without("time_zone")),
    "uncertainty of faults": each("fault", without("U_delta_rel", "U_delta_force")),
}


def mattering(lab: Json, faults: list[Json], answer: Json, names: Iterable[str]) -> Iterator[str]:
    """Features, of those named, without which the answer would be another one."""
    for name in names:
        pair: Any = json.loads(json.dumps([lab, faults]))
        FEATURES[name](pair)
        if pair == [lab, faults] or not pair[0]["calibrations"]:
            continue
        fault: Any = pair[1][0] if len(pair[1]) == 1 else pair[1]
        other = recall(pair[0], fault)
        if differs(answer, other):
            yield name


def silent(seeds: range) -> set[str]:
    """Features without which no answer to the laboratories of these seeds would be another one."""
    left = set(FEATURES)
    for seed in seeds:
        lab, fault = of_seed(seed)
        faults = fault if isinstance(fault, list) else [fault]
        left -= set(mattering(lab, faults, recall(lab, fault), sorted(left)))
    return left


def differs(answer: Json, other: Json) -> bool:
    """True if certificates common to two answers stand in other lists or show other figures."""
    return any(shown(answer, name) != shown(other, name) for name in LISTS[:-1])


def shown(answer: Json, name: str) -> list[Any]:
    """What counts of a list: who, why, and the figures."""
    return [
        [entry.get(part) for part in ("certificate", "revision", "reasons", "doubts", "points")]
        for entry in answer[name]
        if not entry["item"].startswith("RIG")
    ]


def count(seeds: range, deep: bool = True) -> Counter[str]:
    """In how many laboratories of these seeds each feature shows; `deep` takes features out too."""
    found: Counter[str] = Counter()
    for seed in seeds:
        lab, fault = of_seed(seed)
        faults = fault if isinstance(fault, list) else [fault]
        answer = recall(lab, fault)
        names = set(seen(lab, faults, answer))
        if deep:
            names |= {f"matters: {name}" for name in mattering(lab, faults, answer, FEATURES)}
        found.update(names)
    return found


def main(arguments: list[str]) -> None:
    """Print the table."""
    total = int(arguments[0]) if arguments else 1000
    first = int(arguments[1]) if len(arguments) > 1 else 0
    found = count(range(first, first + total))
    print(f"{total} laboratories, seeds {first} to {first + total - 1}")
    for name in sorted(found):
        print(f"{found[name]:6} {name}")


if __name__ == "__main__":
    main(sys.argv[1:])
