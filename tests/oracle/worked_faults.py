"""Worked laboratories for DESIGN section 10, "Faults", one or more for each point.

The plain figures of `worked_values`. Uncertainties are chosen so that roots come out even. What
concerns requests alone (`as_of`, budgets resolved when a result is recorded) is not worked here.
"""

from __future__ import annotations

from oracle_cases import OPEN, Json, cal, force_fault, lab, ref, row
from worked_limits import FINE_CHECK
from worked_values import BY_REF, at, reached

# u2 = (0.001/2)^2 - (0.0006/2)^2 = 25e-8 - 9e-8 = 16e-8, so u = 0.0004.
UNDERSTATED_FAULT = {
    "item": "REF",
    "kind": "understated_uncertainty",
    "U_rel_recorded": "0.0006",
    "U_rel_right": "0.001",
} | OPEN
STAYS = "2025-01-01T00:00:00Z"


def uncertain_lab() -> Json:
    """W-1 by REF, C-1 by three quarters of WS, C-2 by WS and against REF."""
    wide = {"tolerance": "0.02"}
    return lab(
        cal("W-1", "WS", "02-01", BY_REF, [row("10", "0.011", U="0.006", **wide)]),
        cal(
            "C-1",
            "CI",
            "03-01",
            [ref("WS", "0.75"), ref("GOOD", "0.25")],
            [row("10", "0.005", U="0.008", **wide)],
        ),
        cal("C-2", "CJ", "03-02", [ref("WS", "1"), ref("REF", "-1")]),
        checks=[FINE_CHECK],
    )


# W-1: 2 sqrt(0.003^2 + (10 x 0.0004)^2) = 2 x 0.005; 0.011 is within 0.014 and beyond 0.01.
# C-1: W 0.75: 2 sqrt(0.004^2 + (0.75 x 10 x 0.0004)^2) = 2 x 0.005; 0.005 is within 0.01.
# C-2: 1 x 1 - 1 = 0: one fault is correlated with itself. The check cannot see uncertainty.
SPREAD: Json = {
    "affected": {
        "W-1": reached(
            "REF",
            "W-1",
            generation=1,
            points=[at("0", "0", "0.011", U_after="0.01", verdict_after="fail", changed=True)],
        ),
        "C-1": reached(
            "REF",
            "W-1",
            "WS",
            "C-1",
            generation=2,
            points=[at("0", "0", "0.005", U_after="0.01", verdict_after="pass", changed=False)],
        ),
    },
    "exposed_zero_effect": {"C-2": {"path_count": 2, "points": [at("0", "0", "0", U_after=None)]}},
}

UNDERSTATED = {
    "id": "F1",
    "title": "An understated uncertainty moves no value and widens every result down the chain",
    "source": "Faults: understated_uncertainty",
    "laboratory": uncertain_lab(),
    "fault": UNDERSTATED_FAULT,
    "window_start": STAYS,
    "expected": SPREAD,
}

ZERO_DELTA = {
    "id": "F2",
    "title": "A constant delta of 0 with an uncertainty is the same fault",
    "source": "Faults: a constant delta_rel 0 with U_delta_rel",
    "laboratory": uncertain_lab(),
    # 0.0008/2 = 0.0004, the u of F1.
    "fault": force_fault(delta="0", U_delta_rel="0.0008", U_delta_k="2"),
    "window_start": STAYS,
    "expected": SPREAD,
}

SPREADING: Json = {"U_delta_rel": "0.0008", "U_delta_k": "2"}
ZERO_SEGMENT = {
    "id": "F3",
    "title": "A segment of 0 beside others that are not stays without effect",
    "source": "Faults: a segment of 0",
    "laboratory": lab(
        cal(
            "C-1",
            "CI",
            "02-01",
            BY_REF,
            [row("10", point=1, U="0.006"), row("20", point=2, U="0.012", tolerance="0.03")],
        ),
        cal("C-2", "CJ", "02-02", BY_REF),
    ),
    "fault": {
        "item": "REF",
        "kind": "true_force_relative_error",
        "segments": [
            {"above_kN": "0", "up_to_kN": "15", "delta_rel": "0"},
            {"above_kN": "15", "up_to_kN": "100", "delta_rel": "0.0005"},
        ],
    }
    | SPREADING
    | OPEN,
    # 20 kN: 0.0005 x 20 = 0.01; 2 sqrt(0.006^2 + (20 x 0.0004)^2) = 2 x 0.01; 0.01 <= 0.03 - 0.02.
    "expected": {
        "affected": {
            "C-1": reached(
                "REF",
                "C-1",
                generation=1,
                points=[
                    at("0", "0", "0", U_after="0.006"),
                    at("0.0005", "-0.01", "-0.01", U_after="0.02", verdict_after="pass"),
                ],
            ),
        },
        "cleared": {"C-2": {"reason": "range"}},
    },
}

SEVERAL = {
    "id": "F7",
    "title": "Two independent faults that cancel, and one fault whose own paths cancel",
    "source": "Faults: several independent faults",
    "laboratory": lab(
        cal("C-1", "CI", "02-01", [ref("R-1"), ref("R-2")], [row("10", "0.001", U="0")]),
        cal("W-1", "WS", "02-02", [ref("R-1")], [row("10", U="0")]),
        cal("C-2", "CJ", "03-01", [ref("WS", "1"), ref("R-1", "-1")]),
    ),
    "faults": [
        force_fault("R-1", "0.0005", U_delta_rel="0.0006", U_delta_k="2"),
        force_fault("R-2", "-0.0005", U_delta_rel="0.0008", U_delta_k="2"),
    ],
    # C-1: 0.0005 - 0.0005 = 0; sqrt(0.006^2 + 0.008^2) = 0.01, so that nothing but 0 would pass.
    # W-1: 0.0005 x 10 = 0.005; sqrt(0.006^2) = 0.006; 0.005 > 0.01 - 0.006.
    "expected": {
        "affected": {
            "C-1": {
                "reason_paths": [["R-1", "C-1"], ["R-2", "C-1"]],
                "points": [at("0", "0", "0.001", U_after="0.01", verdict_after="fail")],
            },
            "W-1": {"points": [at("0.0005", "-0.005", "-0.005", U_after="0.006")]},
        },
        "exposed_zero_effect": {"C-2": {"path_count": 2, "points": [at("0", "0", "0")]}},
    },
}

DUT = {"item": "RO", "channel": "A", "role": "readout_dut"}
REFERENCE = DUT | {"role": "readout_reference"}
READOUT = {
    "id": "F8",
    "title": "A channel listed twice counts once; W of a readout has the sign of its role",
    "source": "Faults: one use of a channel, W of a readout",
    "laboratory": lab(
        cal("C-1", "CI", "02-01", [DUT, DUT], [row("10", U="0.006")]),
        cal("C-2", "CJ", "02-02", [REFERENCE], [row("10", U="0.006")]),
        cal("X-1", "CX", "03-01", [ref("CI"), ref("CJ")], [row("10", U="0.006")]),
        cal("C-3", "CK", "02-03", [DUT, REFERENCE], [row("10", U="0.006")]),
        kinds={"RO": "readout"},
    ),
    "fault": {"item": "RO", "channel": "A", "kind": "readout_gain", "gain": "1.25"}
    | SPREADING
    | OPEN,
    # C-1: 1.25 - 1 = 0.25 once, x 10 = 2.5; W 1: 2 sqrt(0.003^2 + (10 x 0.0004)^2) = 0.01.
    # C-2: 1/1.25 - 1 = -0.2; W -1, the same 0.01. X-1: 0.25 - 0.2 = 0.05; W 1 - 1 = 0: U stays.
    # C-3: the gain cancels. X-1 uses nothing in the roles of RO: C-1 to C-3 show two of them.
    "expected": {
        "affected": {
            "C-1": {"points": [at("0.25", "-2.5", "-2.5", U_after="0.01")]},
            "C-2": {"points": [at("-0.2", "2", "2", U_after="0.01")]},
            "X-1": {
                "points": [at("0.05", "-0.5", "-0.5", U_after="0.006")],
                "doubts": ["no_use_in_role"],
            },
        },
        "exposed_zero_effect": {"C-3": {"points": [at("0", "0", "0")]}},
    },
}


def without(name: str, result: Json) -> Json:
    """A result that lacks one of its fields."""
    return {key: value for key, value in result.items() if key != name}


UNDECIDED = {
    "id": "F9",
    "title": "What cannot be decided is null; an unknown point does not hide U at the known ones",
    "source": "Faults: changed is null, U after at the known points",
    "laboratory": lab(
        cal(
            "C-1",
            "CI",
            "02-01",
            BY_REF,
            [
                without("U", row("10", "0.003", point=1)),
                without("tolerance", row("10", point=2, U="0.006")),
                row("10", point=3, U="0.006", tolerance="0.02"),
            ],
        ),
        cal("C-2", "CJ", "02-02", BY_REF, [row("10", point=1, U="0.006"), row("20", point=2)]),
    ),
    "fault": {
        "item": "REF",
        "kind": "true_force_relative_error",
        "segments": [{"above_kN": "0", "up_to_kN": "15", "delta_rel": "0.0005"}],
    }
    | SPREADING
    | OPEN,
    # 10 kN: -0.005; 2 sqrt(0.003^2 + 0.004^2) = 0.01. Point 1 has no U and its rule needs one;
    # point 2 has no limits. Point 3: 0.005 <= 0.02 - 0.01. Of C-2, 20 kN is in no segment; its
    # point 1: 0.005 > 0.01 - 0.01.
    "expected": {
        "affected": {
            "C-1": {
                "points": [
                    at(
                        "0.0005", "-0.005", "-0.002", U_after=None, verdict_after=None, changed=None
                    ),
                    at("0.0005", "-0.005", "-0.005", U_after="0.01", changed=None),
                    at("0.0005", "-0.005", "-0.005", verdict_after="pass", changed=False),
                ]
            },
        },
        "indeterminate": {
            "C-2": {
                "points": [
                    at("0.0005", "-0.005", "-0.005", U_after="0.01", verdict_after="fail"),
                    {"delta_rel": None, "verdict_before": "pass", "changed": None},
                ]
            },
        },
    },
}

FAULTS: list[Json] = [UNDERSTATED, ZERO_DELTA, ZERO_SEGMENT, SEVERAL, READOUT, UNDECIDED]
