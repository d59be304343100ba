"""Which small laboratories, and which faults on them, should an oracle be tried on?

Strategies that make lawful laboratory files of three to four layers: references, working
standards, customers' instruments (one of which may serve as a reference), adapters with moving
pins, a readout with channels. Layers and unique days keep any calibration from resting on itself.
All forces, dates and names are invented; sizes are chosen so that limits, window ends and segment
bounds are met exactly now and then. Not made: tolerances by specification id, calibrated parts.
"""

from __future__ import annotations

from hypothesis import strategies as st
from oracle_bench import (
    FACTOR_RIGHT,
    FACTOR_WRONG,
    HOURS,
    WEEKS,
    Bench,
    Json,
    day_text,
    instant,
    readout_uses,
    references,
    results,
    use,
)

TYPES = ("tension_link", "crane_scale", "load_cell", "s_type_cell", None)
DELTAS = ("0.0005", "-0.0003", "0.001", "-0.0002", "0.00005", "0.00035")


def add_calibration(
    bench: Bench, item: str, week: int, pool: list[str], extras: tuple[str, ...]
) -> None:
    """One calibration of an item by a pool of references; at times in two revisions."""
    found = results(bench)
    uses = references(bench, pool, found, week)
    if "adapter" in extras and bench.pick(True, False):
        adapter = bench.pick("ADP-1", "ADP-2", "SUB-1", "PIN-1")
        uses.append(use(bench, adapter, "adapter", found, week, "1"))
    if "readout" in extras and bench.pick(True, False):
        uses += readout_uses(bench, found, week)
    if bench.chance(25):
        found = []
        for entry in uses:
            entry.pop("points", None)
            entry["weight"] = "1"
    record: Json = {
        "certificate": f"C-{len(bench.calibrations) + 100}",
        "revision": 0,
        "status": bench.pick(*["issued"] * 10, "draft", "voided"),
        "item": item,
        "performed_at": instant(bench, week),
        "uses": uses,
        "results": found,
    }
    if bench.chance(10):
        record |= {"external": True, "issuer": "Outside Laboratory"}
    if "assigns" in extras and bench.chance(4):
        record["assigns_value"] = False
    if bench.chance(7):
        earlier = record | {"status": "superseded"}
        if len(uses) > 1:
            earlier["uses"] = uses[:-1]
        bench.calibrations.append(earlier)
        record = record | {"revision": 1}
    bench.calibrations.append(record)


def composition(bench: Bench) -> list[Json]:
    """PIN-1 moves from ADP-1 into SUB-1, which ADP-2 has held all along."""
    first, change, later = bench.days(3)
    noon = f"{day_text(change)}T12:00:00Z"
    moved = noon if bench.pick(True, False) else f"{day_text(later)}T08:00:00Z"
    start = f"{day_text(first)}T08:00:00Z"
    return [
        {"assembly": "ADP-1", "part": "PIN-1", "from": start, "until": noon},
        {"assembly": "ADP-1", "part": "PIN-2", "from": noon, "until": None},
        {"assembly": "SUB-1", "part": "PIN-1", "from": moved, "until": None},
        {"assembly": "ADP-2", "part": "SUB-1", "from": "2024-01-01T00:00:00Z", "until": None},
    ]


def check(bench: Bench, number: int, items: list[str]) -> Json:
    """One intermediate check, good enough to move a window or not."""
    made: Json = {
        "id": f"K-{number}",
        "item": bench.pick(*items),
        "at": f"{day_text(bench.draw(st.integers(0, WEEKS - 1)))}T{bench.pick(*HOURS)}Z",
        "kind": "intermediate",
        "result": bench.pick("pass", "pass", "pass", "fail"),
        "acceptance_limit_rel": bench.pick("0.00005", "0.0001", "0.0001", "0.0005"),
        "U_rel": bench.pick("0.00004", "0.00005", "0.0001"),
        "independent": bench.pick(True, True, True, False),
    }
    covers = bench.pick("full range", "full range", "points", "texts", "object", "above", None)
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
    if bench.chance(4):
        made["against"] = bench.pick(*items)
    return made


@st.composite
def laboratories(draw: st.DrawFn) -> Json:
    """A lawful laboratory file of some 10 to 30 certificates."""
    bench = Bench(draw)
    refs = ["REF-1", "REF-2", "REF-3"][: bench.pick(2, 3)]
    working = ["WS-1", "WS-2", "WS-3"][: bench.pick(2, 3)]
    customers = [f"CI-{n}" for n in range(1, bench.pick(4, 5, 6))]
    # Days of references are all different: they may calibrate each other, the later the earlier.
    for week in bench.days(bench.pick(1, 2, 4)):
        item = bench.pick(*refs[1:], *refs)
        add_calibration(bench, item, week, [r for r in refs if r != item], ())
    for item in working:
        for week in bench.days(bench.pick(2, 1, 3)):
            add_calibration(bench, item, week, refs, ("assigns", "readout"))
    for index, item in enumerate(customers):
        pool = [*working, *working, bench.pick(*refs), *customers[:index][:1]]
        for week in bench.days(bench.pick(2, 1, 3)):
            extras = ("adapter", "readout", "assigns") if index == 0 else ("adapter", "readout")
            add_calibration(bench, item, week, pool, extras)
    items: list[Json] = [{"id": ref, "kind": "reference_standard"} for ref in refs]
    items += [{"id": name, "kind": "working_standard"} for name in working]
    items += [{"id": n, "kind": "adapter", "type": "clevis"} for n in ("ADP-1", "ADP-2", "SUB-1")]
    items += [{"id": name, "kind": "adapter_part", "type": "pin"} for name in ("PIN-1", "PIN-2")]
    items.append({"id": "RO-1", "kind": "readout", "channels": ["A", "B"]})
    for name in customers:
        kind = bench.pick(*TYPES)
        items.append({"id": name, "kind": "customer_instrument"} | ({"type": kind} if kind else {}))
    checked = ["REF-1", "REF-1", "WS-1", "WS-1", *refs, *working, "PIN-1"]
    lab: Json = {
        "items": items,
        "composition": composition(bench),
        "calibrations": bench.calibrations,
        "checks": [check(bench, n, checked) for n in range(bench.pick(0, 1, 3, 5))],
    }
    zone = bench.pick(None, "America/New_York", "Europe/Berlin", "Asia/Tokyo")
    return lab | ({"time_zone": zone} if zone else {})


KINDS = (
    "constant",
    "segments",
    "indicates_high",
    "wrong_correction_factor",
    "indication_effect_by_type",
    "readout_gain",
    "interval",
    "unknown",
    "linear_drift",
)


def effect_fields(bench: Bench, form: str) -> Json:
    """The fields that say how large the fault is."""
    if form == "constant":
        return {"kind": "true_force_relative_error", "delta_rel": bench.pick(*DELTAS)}
    if form == "segments":
        edges = ["0", bench.pick("5", "10"), bench.pick("15", "20"), bench.pick("45", "50", "60")]
        zero = bench.pick(0, 1, 2)
        segments = [
            {
                "above_kN": edges[n],
                "up_to_kN": edges[n + 1],
                "delta_rel": "0" if n == zero else bench.pick(*DELTAS),
            }
            for n in range(3)
        ]
        return {"kind": "true_force_relative_error", "segments": segments}
    if form == "indicates_high":
        return {"kind": form, "indication_rel": bench.pick(*DELTAS)}
    if form == "wrong_correction_factor":
        return {"kind": form, "factor_applied": FACTOR_WRONG, "factor_right": FACTOR_RIGHT}
    if form == "indication_effect_by_type":
        effects = {"tension_link": bench.pick(*DELTAS), "crane_scale": "0"}
        if bench.pick(True, False):
            effects["load_cell"] = bench.pick(*DELTAS)
        other = bench.pick(None, "indeterminate", "0.0002")
        return {"kind": form, "effect_rel": effects} | ({"other_types": other} if other else {})
    if form == "readout_gain":
        gain = bench.pick("1.0005", "0.9996")
        return {"kind": form, "channel": bench.pick("A", "B"), "gain": gain}
    if form == "interval":
        return {"kind": form, "bound_rel": bench.pick("0.0003", "0.0001", "0.001")}
    if form == "linear_drift":
        return {"kind": form, "delta_rel": bench.pick(*DELTAS)}
    return {"kind": form}


def one_fault(bench: Bench, lab: Json, form: str) -> Json:
    """A fault of one kind on an item that the laboratory uses."""
    used = sorted({use["item"] for c in lab["calibrations"] for use in c["uses"]})
    high = [name for name in used if name.startswith(("REF", "WS"))]
    checked = [name for name in high if name in {entry["item"] for entry in lab["checks"]}]
    forces = [*high, *high, *checked, *checked, *(n for n in used if n.startswith("CI"))]
    adapters = [name for name in used if name.startswith(("ADP", "SUB"))]
    fault: Json = effect_fields(bench, form)
    if form == "readout_gain":
        fault["item"] = "RO-1"
    elif form == "indication_effect_by_type":
        fault["item"] = bench.pick("PIN-1", "PIN-1", "PIN-2", *adapters)
    elif form in ("interval", "unknown") and bench.chance(4):
        fault["item"] = bench.pick("PIN-1", "RO-1")
    else:
        fault["item"] = bench.pick(*forces)
    start = bench.pick(0, 0, 1, 2, 4, 8)
    end = bench.pick(WEEKS - 1, WEEKS - 1, 20, 16, 12)
    opened = f"{day_text(start)}T{bench.pick(*HOURS)}Z"
    closed = f"{day_text(end)}T{bench.pick(*HOURS)}Z"
    if form == "wrong_correction_factor":
        return fault | {"entered_at": opened, "fixed_at": closed}
    fault |= {"last_good_at": opened, "discovered_at": closed, "isolated_at": closed}
    if form == "linear_drift":
        fault["measured_at"] = f"{day_text(bench.pick(end, end - 2, WEEKS))}T09:30:00Z"
    if form != "unknown" and bench.pick(True, False):
        fault |= {"U_delta_rel": bench.pick("0.0001", "0.0002"), "U_delta_k": "2"}
    return fault


@st.composite
def faults_for(draw: st.DrawFn, lab: Json) -> Json:
    """One fault of any kind on an item of the laboratory."""
    bench = Bench(draw)
    return one_fault(bench, lab, bench.pick(*KINDS))


@st.composite
def several_faults_for(draw: st.DrawFn, lab: Json) -> list[Json]:
    """One to three faults on different items."""
    bench = Bench(draw)
    made: list[Json] = []
    for form in draw(st.lists(st.sampled_from(KINDS), min_size=2, max_size=3)):
        fault = one_fault(bench, lab, form)
        if fault["item"] not in {known["item"] for known in made}:
            made.append(fault)
    return made
