"""Which faults are tried on a random laboratory: every kind, with limits and without?"""

from __future__ import annotations

from bench_calibrations import FACTOR_RIGHT, FACTOR_WRONG
from oracle_bench import HOURS, WEEKS, Bench, Json, day_text

DELTAS = ("0.0005", "-0.0003", "0.001", "-0.0002", "0.00005", "0.00035")
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
    "understated_uncertainty",
    "zero_delta",
    "true_force_offset",
    "wrong_curve",
)
# The plainest first; those that are carried in a way of their own more often than the rest.
OFTEN = (
    *KINDS,
    "segments",
    "readout_gain",
    "understated_uncertainty",
    "true_force_offset",
    "wrong_curve",
)
# What can be wrong with a certificate rather than with an item.
OF_CERTIFICATES = (
    "constant",
    "segments",
    "unknown",
    "interval",
    "understated_uncertainty",
    "zero_delta",
    "true_force_offset",
    "wrong_curve",
)


def segments(bench: Bench) -> list[Json]:
    """Three segments of force, at times one of them without effect."""
    edges = ["0", bench.pick("5", "10"), bench.pick("15", "20"), bench.pick("45", "50", "60")]
    zero = bench.pick((0,), (1,), (2,), (0, 1), (1, 2), ())
    return [
        {
            "above_kN": edges[n],
            "up_to_kN": edges[n + 1],
            "delta_rel": "0" if n in zero else bench.pick(*DELTAS),
        }
        for n in range(3)
    ]


def by_type(bench: Bench) -> Json:
    """Effects of an adapter by the type of the instrument."""
    effects = {"tension_link": bench.pick(*DELTAS), "crane_scale": "0"}
    if bench.pick(True, False):
        effects["load_cell"] = bench.pick(*DELTAS)
    other = bench.pick(None, "indeterminate", "0.0002")
    return {"effect_rel": effects} | ({"other_types": other} if other else {})


def understated(bench: Bench) -> Json:
    """Recorded and right uncertainties, with k of 2 left out at times."""
    recorded, right = bench.pick(("0.0002", "0.0006"), ("0.0001", "0.0003"))
    made: Json = {"U_rel_recorded": recorded, "U_rel_right": right}
    if bench.pick(True, False):
        made |= {"k_recorded": "2", "k_right": bench.pick("2", "3")}
    if made.get("k_right") == "3" and bench.chance(2):
        made["k_recorded"] = "2.5"
    return made


def offset(bench: Bench) -> Json:
    """A force that is always too much or too little."""
    unit, sizes = bench.pick(("N", ("5", "-10", "2")), ("kN", ("0.005", "-0.01")), ("lbf", ("1",)))
    made: Json = {"delta_force": bench.pick(*sizes), "unit": unit}
    if bench.pick(True, False):
        spread = "0.004" if unit == "kN" else "4"
        made |= {"U_delta_force": spread} | bench.pick({}, {"U_delta_k": "2"}, {"U_delta_k": "3"})
    return made


def curve(bench: Bench) -> Json:
    """Two nearly straight curves up to 80 kN: of force (2 mV/V at 80 kN), or of deflection."""
    of = bench.pick("force", "deflection")
    if of == "force":
        used, right = ["0", "40"], ["0", bench.pick("40.01", "39.98"), bench.pick("0.004", "-0.01")]
        if bench.pick(True, False):
            used = ["0.001", "40", "0.005", "-0.002"]
    else:
        used, right = ["0", "0.025"], ["0", bench.pick("0.02501", "0.02499"), "-0.00000025"]
        if bench.pick(True, False):
            right = ["0.00001", "0.025", "0.0000002", "-0.000000001"]
    if bench.pick(True, False):
        return {
            **{"of": of, "coefficients_recorded": used, "coefficients_right": right},
            **{"unit": "kN", "range": {"from": bench.pick("0", "4"), "to": bench.pick("80", "25")}},
        }
    return {
        **{"of": of, "coefficients_recorded": used, "coefficients_right": right},
        **{"unit": "kN", "range": {"from": "-80", "to": "80"}},
    }


def effect_fields(bench: Bench, form: str) -> Json:
    """The fields that say how large the fault is."""
    relative: Json = {"kind": "true_force_relative_error"}
    if form == "constant":
        return relative | {"delta_rel": bench.pick(*DELTAS)}
    if form == "zero_delta":
        spread = {"U_delta_rel": bench.pick("0.0002", "0.0004"), "U_delta_k": "2"}
        return relative | {"delta_rel": "0"} | bench.pick(spread, spread, spread, {})
    if form == "segments":
        return relative | {"segments": segments(bench)}
    made: Json = {"kind": form}
    if form == "indicates_high":
        return made | {"indication_rel": bench.pick(*DELTAS)}
    if form == "wrong_correction_factor":
        return made | {"factor_applied": FACTOR_WRONG, "factor_right": FACTOR_RIGHT}
    if form == "indication_effect_by_type":
        return made | by_type(bench)
    if form == "readout_gain":
        return made | {"channel": bench.pick("A", "B"), "gain": bench.pick("1.0005", "0.9996")}
    if form == "interval":
        return made | {"bound_rel": bench.pick("0.0003", "0.0001", "0.001")}
    if form == "linear_drift":
        return made | {"delta_rel": bench.pick(*DELTAS)}
    if form == "understated_uncertainty":
        return made | understated(bench)
    if form == "wrong_curve":
        return made | curve(bench)
    return made | (offset(bench) if form == "true_force_offset" else {})


def item_for(bench: Bench, lab: Json, form: str) -> str:
    """An item that the laboratory uses, itself or in an assembly."""
    # Every use counts: the more often an item is used, the likelier it is the faulty one.
    used: list[str] = sorted(use["item"] for c in lab["calibrations"] for use in c["uses"])
    high = [name for name in used if name.startswith(("REF", "WS"))]
    checked = [name for name in high if name in {entry["item"] for entry in lab["checks"]}]
    cells = ["CELL-1", "CELL-1", "CELL-2", "CELL-3", "CELL-4"] * (used.count("RIG-1") // 2)
    adapters = [name for name in used if name.startswith(("ADP", "SUB"))]
    if form == "readout_gain":
        return "RO-1"
    if form == "indication_effect_by_type":
        return bench.pick("PIN-1", "PIN-1", "PIN-2", *adapters)
    if form == "understated_uncertainty" and bench.chance(3):
        return "RO-1"
    if form in ("interval", "unknown") and bench.chance(4):
        return bench.pick("PIN-1", "RO-1")
    if form == "wrong_correction_factor":
        told: list[str] = [
            u["item"] for c in lab["calibrations"] for u in c["uses"] if "factor_applied" in u
        ]
        return bench.pick(*(told or high))
    customers = [name for name in used if name.startswith("CI")]
    if checked and bench.choose(2) == 0:
        return bench.pick(*checked)
    return bench.pick(*high, *cells, *customers)


def only(bench: Bench, lab: Json, item: str) -> Json:
    """A limit to one mode, one direction, or some roles."""
    made: Json = {}
    directed = any("direction" in r for c in lab["calibrations"] for r in c["results"])
    if any("mode" in c for c in lab["calibrations"]) and bench.pick(
        True, not directed, not directed
    ):
        made["mode"] = bench.pick("tension", "compression")
    if directed and bench.pick(True, True, True, False):
        made["directions"] = bench.pick(["increasing"], ["decreasing"])
    roles = sorted({u["role"] for c in lab["calibrations"] for u in c["uses"] if u["item"] == item})
    if not made or bench.chance(6):
        made["roles"] = [bench.pick("force_reference", "force_reference", *roles, "monitor")]
    return made


def window_fields(bench: Bench, form: str) -> Json:
    """From when to when, at times in whole days or without an end, and what a drift needs."""
    made: Json
    start, end = bench.pick(0, 0, 0, 1, 2, 5), bench.pick(WEEKS - 1, WEEKS - 1, 20, 16, 12)
    opened = day_text(start) + ("" if bench.chance(6) else f"T{bench.pick(*HOURS)}Z")
    closed = day_text(end) + ("" if bench.chance(6) else f"T{bench.pick(*HOURS)}Z")
    if form == "wrong_correction_factor":
        made = {"entered_at": opened, "fixed_at": closed}
    else:
        made = {"last_good_at": opened, "discovered_at": closed, "isolated_at": closed}
    if form == "linear_drift":
        made["measured_at"] = day_text(bench.pick(end, end - 2, WEEKS))
        made["measured_at"] += "" if bench.chance(6) else "T09:30:00Z"
    elif bench.chance(8):
        # Nobody knows since when, or the item is still in use.
        for name in bench.pick(tuple(made)[:1], tuple(made)[-1:], tuple(made)):
            made[name] = None
    return made


UNCERTAIN = ("unknown", "understated_uncertainty", "zero_delta", "true_force_offset")


def one_fault(bench: Bench, lab: Json, form: str) -> Json:
    """A fault of one kind on an item, or on a certificate, that the laboratory uses."""
    fault = effect_fields(bench, form)
    # A fault of a certificate has no faulty item: whether checks of one count is left open.
    checked = {entry["item"] for entry in lab["checks"]}
    named = [
        c
        for c in lab["calibrations"]
        if c["item"] not in checked and c["status"] != "draft" and c.get("assigns_value", True)
    ]
    if form in OF_CERTIFICATES and named and bench.chance(4):
        high = [c for c in named if not c["item"].startswith("CI")] or named
        # The earlier ones have had the time to be used.
        high.sort(key=lambda c: c["performed_at"])
        chosen = bench.pick(*high[: (len(high) + 1) // 2])
        item = chosen["item"]
        fault["certificate"] = chosen["certificate"]
        fault |= {"issuer": chosen["issuer"]} if "issuer" in chosen else {}
        if bench.pick(True, False):
            fault["revision"] = chosen["revision"]
    else:
        item = fault["item"] = item_for(bench, lab, form)
        if item == "RO-1" and form in ("understated_uncertainty", "unknown"):
            fault |= bench.pick({"channel": "A"}, {"channel": "B"}, {})
    fault |= window_fields(bench, form)
    if form not in UNCERTAIN and bench.pick(True, False):
        fault |= {"U_delta_rel": bench.pick("0.0001", "0.0002"), "U_delta_k": "2"}
    if bench.chance(3) or (item in checked and bench.chance(3)):
        fault["only"] = only(bench, lab, item)
    return fault


def fault_on(bench: Bench, lab: Json) -> Json:
    """One fault of any kind."""
    return one_fault(bench, lab, bench.pick(*OFTEN))


def faults_on(bench: Bench, lab: Json) -> list[Json]:
    """One to three faults on different items or certificates."""
    made: list[Json] = []
    for form in bench.some(KINDS, bench.pick(2, 3)):
        fault = one_fault(bench, lab, form)
        names = {known.get("item") or known["certificate"] for known in made}
        if (fault.get("item") or fault["certificate"]) not in names:
            made.append(fault)
    return made
