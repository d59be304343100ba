"""Which small laboratories, and which faults on them, should an oracle be tried on?

Lawful laboratory files of several layers: references, working standards, cells in a force machine
within a larger one, customers' instruments (one of which may serve as a reference), adapters with
moving pins, readouts. Layers and different days keep any calibration from resting on itself. All
forces, dates and names are invented. Not made: tolerances by specification id, budgets.
As hypothesis strategies, or by a seed: `of_seed`. Both are whole laboratories that do not shrink:
`laboratory_reduction` takes out of one what a failure does not need.
"""

from __future__ import annotations

import random

from bench_calibrations import add_calibration
from bench_faults import fault_on, faults_on
from hypothesis import strategies as st
from oracle_bench import HOURS, WEEKS, Bench, Json, day_text, instant

TYPES = ("tension_link", "crane_scale", "load_cell", "s_type_cell", None)
CELLS = ("CELL-1", "CELL-2", "CELL-3", "CELL-4")
OTHERS = ("RIG-1", "RIG-2", "CELL-2", "CI-1", "CI-2")
KINDS = (
    ("REF-", "reference_standard"),
    ("WS-", "working_standard"),
    ("CELL-", "working_standard"),
    ("RIG-", "force_machine"),
    ("ADP-", "adapter"),
    ("SUB-", "adapter"),
    ("PIN-", "adapter_part"),
    ("RO-", "readout"),
    ("MON-", "environment_monitor"),
    ("CI-", "customer_instrument"),
)


def stay(assembly: str, part: str, start: str, until: str | None, share: str | None = None) -> Json:
    """One stay of a part in an assembly."""
    made: Json = {"assembly": assembly, "part": part, "from": start, "until": until}
    return made | ({} if share is None else {"share": share})


def pins(bench: Bench) -> list[Json]:
    """PIN-1 moves from ADP-1 into SUB-1, which ADP-2 has held all along."""
    first, change, later = bench.days(3)
    noon = f"{day_text(change)}T12:00:00Z"
    leaves = day_text(change) if bench.chance(4) else noon
    moved = noon if bench.pick(True, False) else f"{day_text(later)}T08:00:00Z"
    return [
        stay("ADP-1", "PIN-1", f"{day_text(first)}T08:00:00Z", leaves),
        stay("ADP-1", "PIN-2", noon, None),
        stay("SUB-1", "PIN-1", moved, None),
        stay("ADP-2", "SUB-1", "2024-01-01T00:00:00Z", None),
    ]


def machines(bench: Bench) -> list[Json]:
    """RIG-1 of two cells, one of them replaced; RIG-2 of RIG-1 and a cell, later a reference.

    Shares are given, absent, given for some or summing to less than one.
    """
    told = bench.pick(
        ("0.4", "0.6"), ("0.25", "0.75"), (None, None), (None, None), ("0.4", None), ("0.4", "0.5")
    )
    outer = bench.pick(("0.5", "0.5"), ("0.5", "0.5"), (None, None))
    began, change, gap = "2024-01-01T00:00:00Z", *bench.days(2)
    noon = day_text(change) if bench.chance(3) else f"{day_text(change)}T12:00:00Z"
    again = f"{day_text(gap)}T08:00:00Z" if bench.chance(4) else f"{day_text(change)}T12:00:00Z"
    swap = f"{day_text(bench.choose(WEEKS))}T{bench.pick(*HOURS)}Z"
    made = [
        stay("RIG-1", "CELL-1", began, None, told[0]),
        stay("RIG-1", "CELL-2", began, noon, told[1]),
        stay("RIG-1", "CELL-3", again, None, told[1]),
        stay("RIG-2", "RIG-1", began, None, outer[0]),
        stay("RIG-2", "CELL-4", began, swap, outer[1]),
        stay("RIG-2", "REF-2", swap[:10] if bench.chance(8) else swap, None, outer[1]),
    ]
    if bench.pick(True, True, False):
        made.append(
            stay("RIG-1", bench.pick("RO-2", "RO-2", "MON-1"), f"{day_text(gap)}T08:00:00Z", None)
        )
    return made


def check(bench: Bench, number: int, items: list[str]) -> Json:
    """One intermediate check, good enough to move a window or not."""
    made: Json = {
        "id": f"K-{number}",
        "item": bench.pick(*items),
        "at": instant(bench, bench.choose(WEEKS)),
        "kind": bench.pick("intermediate", "intermediate", "inspection"),
        "result": bench.pick("pass", "pass", "pass", "fail"),
        "acceptance_limit_rel": bench.pick("0.00001", "0.00001", "0.00005", "0.0001", "0.0005"),
        "U_rel": bench.pick("0.00001", "0.00001", "0.00004", "0.0001"),
        "independent": bench.pick(True, True, True, True, True, False),
    }
    covers = bench.pick(
        "full range", "full range", "full range", "points", "texts", "object", "above", None
    )
    if covers == "points":
        made["covers"] = ["20", 50]
    elif covers == "texts":
        made["covers"] = ["5 kN", "20 kN", "11000 lbf"]
    elif covers == "object":
        made["covers"] = {"points": ["15", "20"], "unit": "kN"}
    elif covers == "above":
        made["covers"] = ["900"]
    elif covers is not None:
        made["covers"] = covers
    for name in ("acceptance_limit_rel", "U_rel", "independent"):
        if bench.chance(16):
            del made[name]
    if bench.pick(True, False):
        # Against what it was made, at times a machine, a cell or a customer's instrument.
        others = [*items, *items, *OTHERS]
        made["against"] = bench.pick(*(name for name in others if name != made["item"]))
    if bench.modal:
        mode = bench.pick("tension", "compression", None)
        made |= {} if mode is None else {"mode": mode}
    return made


def stock(bench: Bench, refs: list[str], working: list[str]) -> None:
    """Calibrations of what the laboratory owns: references, standards, cells, machines, parts."""
    # Days of references are all different: they may calibrate each other, the later the earlier.
    for week in bench.days(bench.pick(1, 2, 3)):
        item = bench.pick(*refs[1:], *refs)
        add_calibration(bench, item, week, [r for r in refs if r != item], ())
    for item in working:
        for week in bench.days(bench.pick(2, 3, 4)):
            add_calibration(bench, item, week, refs, ("assigns", "readout", "monitor"))
    for item in CELLS:
        for week in bench.days(bench.pick(1, 2, 2, 3, 3, 0)):
            add_calibration(bench, item, week, [*refs, *working], ())
    for item in ["RO-2", *bench.some(("PIN-1", "ADP-1", "MON-1", "RO-2"), bench.pick(0, 1, 2))]:
        for week in bench.days(bench.pick(1, 2)):
            add_calibration(bench, item, week, [*refs, *working], ())
    for item in ("RIG-1", "RIG-2"):
        for week in bench.days(bench.pick(0, 0, 0, 1, 2)):
            add_calibration(bench, item, week, [*refs, *working], ("large",))


def laboratory(bench: Bench) -> Json:
    """A lawful laboratory file of some 20 to 45 certificates."""
    bench.modal, bench.directional = bench.pick(False, True, True), bench.pick(False, True)
    bench.signed = bench.pick(False, True)
    refs = ["REF-1", "REF-2", "REF-3"][: bench.pick(2, 3)]
    working = ["WS-1", "WS-2", "WS-3"][: bench.pick(2, 3)]
    customers = [f"CI-{n}" for n in range(1, bench.pick(4, 5, 6))]
    stock(bench, refs, working)
    rigs = ["RIG-1", "RIG-1", "RIG-2", "RIG-2"]
    for index, item in enumerate(customers):
        pool = [*working, *working, bench.pick(*refs), *rigs, *customers[:index][:1]]
        for week in bench.days(bench.pick(2, 1, 3)):
            extras: tuple[str, ...] = ("adapter", "readout", "monitor", "bare")
            extras += ("assigns",) if index == 0 else bench.pick((), (), ("large",))
            add_calibration(bench, item, week, pool, extras)
    names = [*refs, *working, *CELLS, "RIG-1", "RIG-2", "ADP-1", "ADP-2", "SUB-1"]
    names += ["PIN-1", "PIN-2", "RO-1", "RO-2", "MON-1", *customers]
    checked = ["REF-1", "REF-1", "WS-1", "WS-1", *refs, *working, "PIN-1", "CELL-1", "RO-1"]
    made: Json = {
        "items": [described(bench, name) for name in names],
        "composition": [*pins(bench), *machines(bench)],
        "calibrations": bench.calibrations,
        "checks": [check(bench, n, checked) for n in range(bench.pick(0, 8, 12, 16))],
    }
    zone = bench.pick(None, "America/New_York", "Europe/Berlin", "Asia/Tokyo")
    return made | ({"time_zone": zone} if zone else {})


def confirm_parts(bench: Bench, lab: Json, faults: list[Json]) -> None:
    """Let some calibrations of cells, machines and parts only confirm limits; no faulty one."""
    faulty = {fault.get("certificate") for fault in faults}
    numbers = {
        one["certificate"]
        for one in lab["calibrations"]
        if one["item"] in (*CELLS, "RIG-1", "RIG-2", "RO-2", "MON-1")
    }
    chosen = {number for number in sorted(numbers - faulty) if bench.chance(8)}
    for one in lab["calibrations"]:
        if one["certificate"] in chosen:
            one["assigns_value"] = False


def described(bench: Bench, name: str) -> Json:
    """One item, of the kind that its name begins with."""
    made: Json = {"id": name, "kind": next(kind for head, kind in KINDS if name.startswith(head))}
    if name == "RO-1":
        made["channels"] = ["A", "B"]
    if name.startswith("CI"):
        form = bench.pick(*TYPES)
        made |= {} if form is None else {"type": form}
    return made


SEEDS = st.integers(0, 10**9)


def bench_of(seed: int) -> Bench:
    """A bench whose draws follow from a number."""
    return Bench(random.Random(seed).randrange)


def of_seed(seed: int) -> tuple[Json, Json | list[Json]]:
    """The laboratory of a number, and a fault or, one time in six, several faults on it."""
    bench = bench_of(seed)
    made = laboratory(bench)
    several = bench.chance(6)
    fault = faults_on(bench, made) if several else fault_on(bench, made)
    confirm_parts(bench, made, fault if isinstance(fault, list) else [fault])
    return made, fault


def laboratories() -> st.SearchStrategy[Json]:
    """Lawful laboratory files."""
    return SEEDS.map(lambda seed: laboratory(bench_of(seed)))


def faults_for(lab: Json) -> st.SearchStrategy[Json]:
    """One fault of any kind on an item, or a certificate, of the laboratory."""
    return SEEDS.map(lambda seed: fault_on(bench_of(seed), lab))


def several_faults_for(lab: Json) -> st.SearchStrategy[list[Json]]:
    """One to three faults on different items."""
    return SEEDS.map(lambda seed: faults_on(bench_of(seed), lab))
