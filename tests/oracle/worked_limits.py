"""Worked laboratories for DESIGN section 10, "Faults": force offsets, and faults limited by `only`.

The plain figures of `worked_values`. Uncertainties are chosen so that roots come out even.
"""

from __future__ import annotations

from oracle_cases import OPEN, Json, cal, force_fault, lab, part, ref, row
from worked_values import BY_REF, BY_WS, COMPRESSION, DOWN, TENSION, UP, WHOLE, at, reached

FINE_CHECK = {
    "id": "K-1",
    "item": "REF",
    "at": "2025-04-01T00:00:00Z",
    "kind": "intermediate",
    "result": "pass",
    "acceptance_limit_rel": "0.0000001",
    "U_rel": "0.0000001",
    "independent": True,
    "covers": "full range",
}
HALVES = [ref("REF", {"1": "1", "2": "0.5"}), ref("GOOD", {"1": "0", "2": "0.5"})]
OFFSET = {
    "id": "F4",
    "title": "A force offset is carried as a force; at zero force it is tared away",
    "source": "Faults: true_force_offset",
    "laboratory": lab(
        cal("C-0", "CH", "01-10", BY_REF, [row("5")]),
        cal("W-1", "WS", "02-01", HALVES, [row("10", point=1), row("20", point=2)]),
        cal(
            "C-1",
            "CI",
            "02-02",
            BY_REF,
            [row("0", point=1), row("-10", point=2, U="0.012", tolerance="0.05")],
        ),
        cal(
            "C-2",
            "CJ",
            "03-01",
            BY_WS,
            [
                row("15", point=1, U="0.016", tolerance="0.05"),
                row("40", point=2, U="0.006", tolerance="0.05"),
            ],
        ),
        cal("B-1", "CELL-B", "01-20", [ref("GOOD")]),
        cal("K-1", "CK", "03-02", [ref("RIG")], [row("40", tolerance="0.05")]),
        composition=[part("RIG", "WS", "0.375"), part("RIG", "CELL-B", "0.625")],
        kinds={"RIG": "force_machine"},
        checks=[
            FINE_CHECK
            | {"at": "2025-01-15T00:00:00Z"}
            | {"acceptance_limit_rel": "0.0005", "U_rel": "0.0004"},
            FINE_CHECK
            | {"id": "K-2", "at": "2025-01-18T00:00:00Z"}
            | {"acceptance_limit_rel": "0.0006", "U_rel": "0.0004"},
        ],
    ),
    "fault": {
        "item": "REF",
        "kind": "true_force_offset",
        "delta_force": "0.02",
        "unit": "kN",
        "U_delta_force": "0.016",
        "U_delta_k": "2",
    }
    | OPEN,
    # 20 N everywhere, u = 8 N. Check: REF was used up to 20 kN, where it is 20/20000 = 0.001 off;
    # 0.0009 is below that, 0.001 is not. C-1 at -10 kN: 20/-10000 = -0.002, shift -0.02 all the
    # same; 2 sqrt(0.006^2 + 0.008^2) = 0.02. W-1 carries 20 N at 10 and 10 N at 20 kN.
    # C-2 at 15: 15 N, 15/15000 = 0.001; u 6 N: 2 sqrt(0.008^2 + 0.006^2) = 0.02. At 40: 10 N held,
    # 10/40000 = 0.00025; u 4 N: 2 sqrt(0.003^2 + 0.004^2) = 0.01.
    # K-1: WS bears 0.375 x 40 = 15 kN and is 15 N off, so the machine is: 15/40000 = 0.000375;
    # u 6 N: 2 sqrt(0.001^2 + 0.006^2) = 2 sqrt(0.000037) = 0.01216552506...
    "window_start": "2025-01-15T00:00:00Z",
    "expected": {
        "affected": {
            # 2 sqrt(0.001^2 + 0.008^2) = 2 sqrt(0.000065), 2 sqrt(0.001^2 + 0.004^2)
            "W-1": {
                "points": [
                    at("0.002", "-0.02", "-0.02", U_after="0.0161245154966"),
                    at("0.0005", "-0.01", "-0.01", U_after="0.00824621125124"),
                ]
            },
            "C-1": reached(
                "REF",
                "C-1",
                generation=1,
                points=[
                    at("0", "0", "0", U_after="0.002"),
                    at("-0.002", "-0.02", "-0.02", U_after="0.02", verdict_after="pass"),
                ],
            ),
            "C-2": reached(
                "REF",
                "W-1",
                "WS",
                "C-2",
                generation=2,
                points=[
                    at("0.001", "-0.015", "-0.015", U_after="0.02"),
                    at("0.00025", "-0.01", "-0.01", U_after="0.01"),
                ],
            ),
            "K-1": reached(
                "REF",
                "W-1",
                "WS",
                "RIG",
                "K-1",
                generation=2,
                points=[at("0.000375", "-0.015", "-0.015", U_after="0.0121655250606")],
            ),
        },
        "cleared": {"C-0": {"reason": "window"}},
    },
}

MONITOR = {"item": "REF", "role": "monitor"}
ONLY_MODE = {
    "id": "F5",
    "title": "A fault of one mode and one role",
    "source": "Faults: only, mode and roles",
    "laboratory": lab(
        cal("C-1", "CI", "02-01", BY_REF, **TENSION),
        cal("C-2", "CJ", "02-02", BY_REF, **COMPRESSION),
        cal("C-3", "CK", "02-03", BY_REF, [row("0", point=1), row("10", point=2)]),
        cal("C-4", "CL", "02-04", [ref("GOOD"), MONITOR], **TENSION),
        cal("C-5", "CM", "2024-02-04T10:00:00Z", [ref("GOOD"), MONITOR], **COMPRESSION),
        checks=[
            FINE_CHECK | {"at": "2025-01-20T00:00:00Z", "mode": "tension"},
            FINE_CHECK | {"id": "K-2"},
            FINE_CHECK | {"id": "K-3", "at": "2025-04-02T00:00:00Z", "mode": "compression"},
        ],
    ),
    "fault": force_fault(only={"mode": "tension", "roles": ["force_reference"]}),
    # Only the check of 20 January was made in tension. C-5 is of another mode, role and time: the
    # mode comes first.
    "window_start": "2025-01-20T00:00:00Z",
    "expected": {
        "affected": {"C-1": reached("REF", "C-1", generation=1, points=[WHOLE])},
        "indeterminate": {"C-3": {"points": [at("0", "0", "0"), {"delta_rel": None}]}},
        "cleared": {
            "C-2": {"reason": "mode"},
            "C-4": {"reason": "role"},
            "C-5": {"reason": "mode"},
        },
    },
}

ONLY_DIRECTION = {
    "id": "F6",
    "title": "A fault of increasing force only",
    "source": "Faults: only, directions",
    "laboratory": lab(
        cal("C-1", "CI", "02-01", BY_REF, [row("10", point=1, **UP), row("10", point=2, **DOWN)]),
        cal("C-2", "CJ", "02-02", BY_REF, [row("10", **DOWN)]),
        cal("C-3", "CK", "02-03", BY_REF, [row("10", point=1), row("10", point=2, **UP)]),
        cal("C-4", "CL", "2024-02-03T10:00:00Z", BY_REF, [row("10", **DOWN)]),
        cal("X-1", "CX", "03-01", [ref("CI")], [row("10", **UP)]),
    ),
    "fault": force_fault(only={"directions": ["increasing"]}),
    # X-1 takes the increasing node of C-1. The limit is for generation 1: nothing more is asked.
    "expected": {
        "affected": {
            "C-1": {"points": [WHOLE, at("0", "0", "0")]},
            "X-1": reached("REF", "C-1", "CI", "X-1", generation=2, points=[WHOLE]),
        },
        "indeterminate": {"C-3": {"points": [{"delta_rel": None, "changed": None}, WHOLE]}},
        "cleared": {"C-2": {"reason": "direction"}, "C-4": {"reason": "window"}},
    },
}

LIMITS: list[Json] = [OFFSET, ONLY_MODE, ONLY_DIRECTION]
