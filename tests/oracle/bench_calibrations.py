"""How is one calibration of a random laboratory drawn: its uses, revisions, voids, issue?"""

from __future__ import annotations

from typing import Any

from oracle_bench import WEEKS, Bench, Json, day_text, instant, results

FACTOR_WRONG, FACTOR_RIGHT = "1.0004", "1"


def use(bench: Bench, item: str, role: str, found: list[Json], week: int, weight: Any) -> Json:
    """One use with its rarer features."""
    made: Json = {"item": item, "role": role}
    if weight is not None:
        made["weight"] = weight
    points = sorted({r["point"] for r in found})
    if len(points) > 1 and bench.chance(8):
        made["points"] = points[:-1] if bench.pick(True, False) else points[1:]
    if role == "force_reference":
        if bench.chance(4):
            made["factor_applied"] = bench.pick(FACTOR_WRONG, FACTOR_RIGHT, "1.0008")
        if week > 0 and not item.startswith("REF") and bench.chance(10):
            made["performed_at"] = instant(bench, week - 1)
        elif not item.startswith("REF") and bench.chance(10):
            name_certificate(bench, made, week)
    return made


def name_certificate(bench: Bench, made: Json, week: int) -> None:
    """Let a use name one of the earlier certificates of its item."""
    known = [
        c
        for c in bench.calibrations
        if c["item"] == made["item"] and c["performed_at"][:10] < day_text(week)
    ]
    if not known:
        return
    chosen = bench.pick(*known)
    made["certificate"] = chosen["certificate"]
    alone = sum(c["certificate"] == chosen["certificate"] for c in known) == 1
    if chosen["status"] != "issued" or not alone or bench.pick(True, False):
        made["revision"] = chosen["revision"]


def weights(bench: Bench, count: int, found: list[Json]) -> list[Any]:
    """Weights of several references: equal to one in all, per point, signed or zero."""
    if count == 1:
        return [bench.pick(None, "1", "1", "1", "1", "0")]
    pairs = (("0.5", "0.5"), ("0.4", "0.6"), ("1", "-1"), ("1", "0"))
    if bench.pick(True, False):
        return list(bench.pick(*pairs))
    maps: list[Json] = [{}, {}]
    for point in sorted({r["point"] for r in found}):
        chosen = bench.pick(*pairs)
        for index in (0, 1):
            maps[index][str(point)] = chosen[index]
    return list(maps)


def references(bench: Bench, pool: list[str], found: list[Json], week: int) -> list[Json]:
    """One or two references out of a pool, with their weights."""
    chosen = bench.some(sorted(set(pool), key=pool.index), 2)
    count = bench.pick(1, 1, 2) if len(chosen) > 1 else 1
    if count == 1:
        chosen = [bench.pick(*pool)]
    elif bench.chance(8):
        chosen = [chosen[0]] * 2  # one item twice, in two build-ups: both count
    shares = weights(bench, count, found)
    return [
        use(bench, item, "force_reference", found, week, weight)
        for item, weight in zip(chosen, shares, strict=True)
    ]


def readout_uses(bench: Bench, found: list[Json], week: int) -> list[Json]:
    """The readout on the reference's side, on the instrument's side, on both, or listed twice."""
    made = []
    for role in bench.pick(
        ("readout_reference",),
        ("readout_dut",),
        ("readout_reference", "readout_dut"),
        ("display",),
    ):
        entry = use(bench, "RO-1", role, found, week, None)
        if role == "display" or not bench.chance(8):
            entry["channel"] = bench.pick("A", "A", "B")
        made.append(entry)
        if "channel" in entry and bench.chance(4):
            made.append(dict(entry))
    return made


def uses(
    bench: Bench, pool: list[str], found: list[Json], week: int, extras: tuple[str, ...]
) -> list[Json]:
    """All uses of a calibration: references, at times an adapter, a readout, a monitor."""
    made = []
    if "bare" not in extras or not bench.chance(12):
        made = references(bench, pool, found, week)
    if "adapter" in extras and bench.pick(True, False):
        adapter = bench.pick("ADP-1", "ADP-2", "SUB-1", "PIN-1")
        made.append(use(bench, adapter, "adapter", found, week, "1"))
    if "readout" in extras and bench.pick(True, False):
        made += readout_uses(bench, found, week)
    if "monitor" in extras and bench.chance(8):
        made.append(use(bench, bench.pick(*pool), "monitor", found, week, bench.pick("0", "1")))
    return made


def add_calibration(
    bench: Bench, item: str, week: int, pool: list[str], extras: tuple[str, ...]
) -> None:
    """One calibration of an item by a pool of references, in one revision or more."""
    mode = (
        bench.pick("tension", "tension", "compression", "compression", None)
        if bench.modal
        else None
    )
    found = results(bench, mode, large="large" in extras)
    used = uses(bench, pool, found, week, extras)
    if bench.chance(25):
        found = []
        for entry in used:
            entry.pop("points", None)
            entry["weight"] = "1"
    record: Json = {
        "certificate": f"C-{len({c['certificate'] for c in bench.calibrations}) + 100}",
        "revision": 0,
        "status": "issued",
        "item": item,
        "performed_at": instant(bench, week),
        "uses": used,
        "results": found,
    }
    if mode is not None:
        record["mode"] = mode
    if item.startswith("CI"):
        record["customer"] = bench.pick("Varsk Hoists", "Alder Rigging")
    if bench.chance(10):
        record |= {"external": True, "issuer": "Outside Laboratory"}
    if "assigns" in extras and bench.chance(7):
        record["assigns_value"] = False
    bench.calibrations += revisions(bench, record, week, pool)


def mistaken(bench: Bench, used: list[Json], pool: list[str]) -> list[Json]:
    """What an earlier revision said: another reference, or a use too few."""
    if len(used) > 1 and bench.chance(3):
        return used[:-1]
    others = [item for item in pool if item != used[0]["item"]]
    if used[0]["role"] != "force_reference" or "certificate" in used[0] or not others:
        return used
    return [used[0] | {"item": bench.pick(*others)}, *used[1:]]


def revisions(bench: Bench, record: Json, week: int, pool: list[str]) -> list[Json]:
    """The record as it stands, or its revisions: each but the last superseded."""
    count = bench.pick(1, 1, 1, 1, 2, 2, 3) if record["uses"] else 1
    made, issued, dated = [], week, bench.pick(True, True, False)
    for number in range(count):
        one = record | {"revision": number, "status": "superseded"}
        if number + 1 < count:
            one["uses"] = mistaken(bench, record["uses"], pool)
        if number and dated and issued + 1 < WEEKS:
            issued += bench.pick(1, 2, 4)
            one["issued_at"] = instant(bench, issued, bare=10)
        elif number == 0 and count == 1 and bench.chance(6):
            # The date of issue of a first revision decides nothing.
            one["issued_at"] = instant(bench, week + 1)
        made.append(one)
    last = made[-1]
    last["status"] = bench.pick(
        *["issued"] * 9, "voided", "voided", "voided", "draft", "superseded"
    )
    if last["status"] == "superseded":
        last["status"] = "superseded" if count == 1 and bench.chance(3) else "issued"
    if last["status"] == "draft":
        if count > 1:
            made[-2]["status"] = "issued"
        last.pop("issued_at", None)
    if last["status"] == "voided":
        last["void_reason"] = "invented"
        if bench.pick(True, False, True):
            last["voided_at"] = instant(bench, issued + bench.pick(2, 4, 6, 9), bare=10)
    return made
