"""Worked laboratories for DESIGN section 10, "Compound items", one or two for each point.

The plain figures of `worked_values`; RIG is a force machine, its cells are working standards.
Force machines can hurt people: the records say nothing about how to load or rig one.
"""

from __future__ import annotations

from oracle_cases import OPEN, Json, cal, force_fault, lab, part, ref, row
from worked_values import BY_GOOD, BY_REF, HALF, WHOLE, at, reached

BY_RIG = [ref("RIG")]
RIGS = {"RIG": "force_machine"}
UNKNOWN_POINT = {"delta_rel": None, "shift": None, "verdict_after": None, "changed": None}


def cell(number: str, item: str, at_day: str, name: str) -> Json:
    """A cell at 10 and 20 kN by a reference; at 20 kN half of the force is by GOOD."""
    uses = [ref(name, {"1": "1", "2": "0.5"}), ref("GOOD", {"1": "0", "2": "0.5"})]
    return cal(number, item, at_day, uses, [row("10", point=1), row("20", point=2)])


# Cell A under a fault of 0.0008: 0.0008 at 10 kN, 0.5 x 0.0008 = 0.0004 at 20 kN.
FAULT_8 = force_fault(delta="0.0008", U_delta_rel="0.0004", U_delta_k="2")

SHARES_GIVEN = {
    "id": "A1",
    "title": "An assembly passes on what its cells pass on, each at its share of the force",
    "source": "Compound items: shares given",
    "laboratory": lab(
        cell("A-1", "CELL-A", "02-01", "REF"),
        cell("B-1", "CELL-B", "02-02", "GOOD"),
        cal("K-1", "CI", "03-01", BY_RIG, [row("60", "0.009", U="0.006", tolerance="0.02")]),
        composition=[part("RIG", "CELL-A", "0.25"), part("RIG", "CELL-B", "0.75")],
        kinds=RIGS,
    ),
    "fault": FAULT_8,
    # Cell A bears 0.25 x 60 = 15 kN, half way between its nodes: 0.0006, W 0.75. The assembly:
    # 0.25 x 0.0006 = 0.00015, W 0.25 x 0.75 = 0.1875. Shift -0.00015 x 60 = -0.009.
    # u 0.0002: 2 sqrt(0.003^2 + (0.1875 x 60 x 0.0002)^2) = 2 sqrt(0.003^2 + 0.00225^2) = 0.0075.
    "expected": {
        "affected": {
            "A-1": {"generation": 1},
            "K-1": reached(
                "REF",
                "A-1",
                "CELL-A",
                "RIG",
                "K-1",
                generation=2,
                points=[at("0.00015", "-0.009", "0", U_after="0.0075", verdict_after="pass")],
            ),
        },
    },
}

SHARES_ABSENT = {
    "id": "A2",
    "title": "Without shares they are equal if every cell has a value; else nobody can tell",
    "source": "Compound items: shares absent or incomplete",
    "laboratory": lab(
        cell("A-1", "CELL-A", "02-01", "REF"),
        cell("B-1", "CELL-B", "02-02", "GOOD"),
        cal("K-1", "CI", "03-01", BY_RIG, [row("40")]),
        cell("C-1", "CELL-C", "02-03", "REF"),
        cal("K-2", "CJ", "03-02", [ref("RIG-N")], [row("0", point=1), row("40", point=2)]),
        cell("E-1", "CELL-E", "02-04", "REF"),
        cell("F-1", "CELL-F", "02-05", "GOOD"),
        cal("K-3", "CK", "03-03", [ref("RIG-P")], [row("40")]),
        cell("G-1", "CELL-G", "02-06", "GOOD"),
        cal("K-4", "CL", "03-04", [ref("RIG-Q")], [row("40")]),
        composition=[
            part("RIG", "CELL-A"),
            part("RIG", "CELL-B"),
            part("RIG-N", "CELL-C"),
            part("RIG-N", "CELL-D"),
            part("RIG-P", "CELL-E", "0.5"),
            part("RIG-P", "CELL-F"),
            part("RIG-Q", "CELL-G"),
            part("RIG-Q", "CELL-H"),
        ],
        kinds=dict.fromkeys(("RIG", "RIG-N", "RIG-P", "RIG-Q"), "force_machine")
        | {"CELL-D": "working_standard", "CELL-H": "working_standard"},
    ),
    "fault": force_fault(delta="0.0008"),
    # RIG: each bears 20 kN; 0.5 x 0.0004 = 0.0002; x 40 = 0.008. RIG-N: CELL-D has no value.
    # RIG-P: a share is given for one of two. RIG-Q lacks a value too, but no cell is affected.
    "expected": {
        "affected": {
            "A-1": {"generation": 1},
            "C-1": {"generation": 1},
            "E-1": {"generation": 1},
            "K-1": reached(
                "REF",
                "A-1",
                "CELL-A",
                "RIG",
                "K-1",
                generation=2,
                points=[at("0.0002", "-0.008", "-0.008")],
            ),
        },
        "indeterminate": {
            "K-2": reached(
                "REF",
                "C-1",
                "CELL-C",
                "RIG-N",
                "K-2",
                generation=2,
                reason="shares",
                points=[at("0", "0", "0", verdict_after="pass"), UNKNOWN_POINT],
            ),
            "K-3": reached(
                "REF",
                "E-1",
                "CELL-E",
                "RIG-P",
                "K-3",
                generation=2,
                reason="shares",
                points=[UNKNOWN_POINT],
            ),
        },
    },
}

NESTED = {
    "id": "A3",
    "title": "An inner assembly counts as one part; paths name every assembly, generations none",
    "source": "Compound items: inner assemblies, paths",
    "laboratory": lab(
        cell("A-1", "CELL-A", "02-01", "REF"),
        cell("B-1", "CELL-B", "02-02", "GOOD"),
        cell("C-1", "CELL-C", "02-03", "REF"),
        cal("K-1", "CI", "03-01", [ref("OUTER")], [row("100", tolerance="0.1")]),
        composition=[
            part("INNER", "CELL-A", "0.4"),
            part("INNER", "CELL-B", "0.6"),
            part("OUTER", "INNER", "0.5"),
            part("OUTER", "CELL-C", "0.5"),
        ],
        kinds={"INNER": "force_machine", "OUTER": "force_machine"},
    ),
    "fault": force_fault(delta="0.0008"),
    # INNER bears 50, A 20 kN: 0.4 x 0.0004 = 0.00016, x 0.5 = 0.00008. C bears 50 kN, beyond its
    # last node: 0.0004 x 0.5 = 0.0002. Together 0.00028, x 100 = 0.028.
    "expected": {
        "affected": {
            "A-1": {"generation": 1},
            "C-1": {"generation": 1},
            "K-1": {
                "generation": 2,
                "reason_paths": [
                    ["REF", "C-1", "CELL-C", "OUTER", "K-1"],
                    ["REF", "A-1", "CELL-A", "INNER", "OUTER", "K-1"],
                ],
                "path_count": 2,
                "points": [at("0.00028", "-0.028", "-0.028", verdict_after="pass")],
            },
        },
    },
}

PART_ITSELF = {
    "id": "A4",
    "title": "A fault of a cell counts by share, and an own value of the machine is no shield",
    "source": "Compound items: a fault of a measuring part",
    "laboratory": lab(
        cal("R-1", "RIG", "01-20", BY_GOOD, [row("60")]),
        cal("K-1", "CI", "03-01", BY_RIG, [row("60", point=1), row("100", point=2)]),
        cal("K-2", "CJ", "03-02", [ref("RIG-ONE")]),
        cal("K-3", "CK", "05-02", [ref("RIG-ONE")]),
        composition=[
            part("RIG", "CELL-A", "0.25", until="2025-04-01T00:00:00Z"),
            part("RIG", "CELL-B", "0.75"),
            part("RIG-ONE", "CELL-A", start="2025-05-01"),
        ],
        kinds=RIGS
        | dict.fromkeys(("CELL-A", "CELL-B"), "working_standard")
        | {"RIG-ONE": "force_machine"},
    ),
    "fault": {
        "item": "CELL-A",
        "kind": "true_force_relative_error",
        "segments": [
            {"above_kN": "0", "up_to_kN": "20", "delta_rel": "0.0008"},
            {"above_kN": "20", "up_to_kN": "200", "delta_rel": "0"},
        ],
    }
    | OPEN,
    # At 60 kN cell A bears 15, in the faulty segment: 0.25 x 0.0008 = 0.0002, x 60 = 0.012.
    # At 100 kN it bears 25, where it is right. From May on it is the only one in RIG-ONE and counts
    # whole: 0.0008 x 10 = 0.008. On 2 March RIG-ONE did not hold it.
    "expected": {
        "affected": {
            "K-1": reached(
                "CELL-A",
                "RIG",
                "K-1",
                generation=1,
                points=[at("0.0002", "-0.012", "-0.012", verdict_after="fail"), at("0", "0", "0")],
            ),
            "K-3": reached(
                "CELL-A", "RIG-ONE", "K-3", generation=1, points=[at("0.0008", "-0.008", "-0.008")]
            ),
        },
        "cleared": {"K-2": {"reason": "part"}},
    },
}

OWN_VALUE = {
    "id": "A5",
    "title": "An own value is passed on alone, unless a cell has a newer one that is affected",
    "source": "Compound items: an own value",
    "laboratory": lab(
        cal("A-1", "CELL-A", "02-01", BY_REF),
        cal("K-0", "CI", "02-10", BY_RIG),
        cal("R-1", "RIG", "03-01", BY_GOOD),
        cal("K-1", "CJ", "03-10", BY_RIG),
        cal("A-2", "CELL-A", "04-01", BY_REF),
        cal("K-2", "CK", "04-10", BY_RIG),
        cal("A-3", "CELL-A", "05-01", BY_GOOD),
        cal("K-3", "CL", "05-10", BY_RIG),
        cal("R-2", "RIG", "06-01", BY_REF),
        cal("K-4", "CM", "06-10", BY_RIG),
        composition=[part("RIG", "CELL-A", "0.25"), part("RIG", "CELL-B", "0.75")],
        kinds=RIGS | {"CELL-B": "working_standard"},
    ),
    "fault": force_fault(),
    # K-0: no own value yet, 0.25 x 0.0005 = 0.000125, x 10 = 0.00125. K-1: R-1 shields. K-2: A-2
    # is newer than R-1 and affected. K-3: the newer A-3 is good. K-4: R-2 is itself affected.
    "expected": {
        "affected": {
            "A-1": {"points": [WHOLE]},
            "A-2": {"points": [WHOLE]},
            "R-2": {"points": [WHOLE]},
            "K-0": reached(
                "REF",
                "A-1",
                "CELL-A",
                "RIG",
                "K-0",
                generation=2,
                points=[at("0.000125", "-0.00125", "-0.00125")],
            ),
            "K-4": reached("REF", "R-2", "RIG", "K-4", generation=2, points=[WHOLE]),
        },
        "indeterminate": {
            "K-2": reached(
                "REF",
                "A-2",
                "CELL-A",
                "RIG",
                "K-2",
                generation=2,
                reason=None,
                points=[UNKNOWN_POINT],
            ),
        },
    },
}

OTHER_PART = {
    "id": "A6",
    "title": "Any other part with an affected value leaves the users of the machine in the dark",
    "source": "Compound items: readouts and other parts",
    "laboratory": lab(
        cal("A-1", "CELL-A", "01-10", BY_GOOD),
        cal("O-1", "RO", "02-01", BY_REF),
        cal("K-1", "CI", "02-10", BY_RIG),
        cal("R-1", "RIG", "03-01", BY_GOOD),
        cal("K-2", "CJ", "03-10", BY_RIG),
        cal("O-2", "RO", "04-01", BY_REF),
        cal("K-3", "CK", "04-10", BY_RIG),
        composition=[part("RIG", "CELL-A"), part("RIG", "RO")],
        kinds=RIGS | {"RO": "readout"},
    ),
    "fault": force_fault(),
    # K-1: no own value of RIG. K-2: R-1 is newer than O-1. K-3: O-2 is newer than R-1.
    "expected": {
        "affected": {"O-1": {"points": [WHOLE]}, "O-2": {"points": [WHOLE]}},
        "indeterminate": {
            "K-1": reached("REF", "O-1", "RO", "RIG", "K-1", generation=2, points=[UNKNOWN_POINT]),
            "K-3": reached("REF", "O-2", "RO", "RIG", "K-3", generation=2, points=[UNKNOWN_POINT]),
        },
    },
}

PIN_BY_TYPE = {
    "id": "A7",
    "title": "A fault that says what another part does is followed with its effect",
    "source": "Compound items: unless the fault itself says what the part does",
    "laboratory": lab(
        cal("P-1", "PIN", "01-10", BY_GOOD),
        cal("K-1", "TL", "02-10", [*BY_GOOD, {"item": "ADP", "role": "adapter"}]),
        composition=[part("ADP", "PIN")],
        kinds={"ADP": "adapter", "PIN": "adapter_part"},
        types={"TL": "tension_link"},
    ),
    "fault": {
        "item": "PIN",
        "kind": "indication_effect_by_type",
        "effect_rel": {"tension_link": "-0.0015"},
    }
    | OPEN,
    # Whole, as ever: -0.0015 x 10 = -0.015, so the shift is 0.015, beyond 0.01 - 0.002.
    # P-1 names nothing in the role adapter, but it is a calibration of the faulty pin itself.
    "expected": {
        "affected": {
            "K-1": reached(
                "PIN",
                "ADP",
                "K-1",
                generation=1,
                points=[at("-0.0015", "0.015", "0.015", verdict_after="fail")],
            ),
        },
    },
}

CONFIRMED_PART = {
    "id": "A8",
    "title": "What only confirmed a part exposes users of the assembly, one step, until its next",
    "source": "Compound items: what parts pass on; section 5: assigns_value",
    "laboratory": lab(
        cal("A-0", "CELL-A", "01-10", BY_GOOD),
        cal("A-1", "CELL-A", "02-01", BY_REF, assigns_value=False),
        cal("B-1", "CELL-B", "01-11", BY_GOOD),
        cal("K-1", "CI", "02-10", BY_RIG),
        cal("K-2", "CJ", "02-12", [ref("RIG-O")]),
        cal("X-1", "CX", "02-20", [ref("CI")]),
        cal("R-1", "RIG", "02-22", BY_REF, assigns_value=False),
        cal("K-3", "CK", "02-25", [ref("RIG", certificate="R-1")]),
        cal("A-2", "CELL-A", "03-01", BY_GOOD, assigns_value=False),
        cal("K-4", "CL", "03-10", [ref("RIG-O")]),
        cal("V-1", "RIG-V", "01-20", BY_GOOD),
        cal("E-1", "CELL-E", "02-01", BY_REF, assigns_value=False),
        cal("K-5", "CM", "02-11", [ref("RIG-V")]),
        composition=[
            part("RIG", "CELL-A", "0.5"),
            part("RIG", "CELL-B", "0.5"),
            part("RIG-O", "RIG"),
            part("RIG-V", "CELL-E"),
        ],
        kinds=dict.fromkeys(("RIG", "RIG-O", "RIG-V"), "force_machine"),
    ),
    "fault": force_fault(),
    # A-1, E-1 and R-1 are moved themselves, and pass nothing on: K-1 and, a level further out, K-2
    # are exposed; X-1 rests on K-1, one step too far. K-3 names R-1, which gave RIG no value: it is
    # exposed by that one and, as K-1 is, by A-1. A-2 is the next calibration of CELL-A, so K-4 is
    # exposed by R-1 alone. V-1 is a value of RIG-V's own, which it passes on alone: K-5 is nothing.
    "expected": {
        "affected": {
            "A-1": {"points": [WHOLE]},
            "E-1": {"points": [WHOLE]},
            "R-1": {"points": [WHOLE]},
        },
        "exposed_zero_effect": {
            "K-1": reached(
                "REF", "A-1", "CELL-A", "RIG", "K-1", generation=2, points=[at("0", "0", "0")]
            ),
            "K-2": reached("REF", "A-1", "CELL-A", "RIG", "RIG-O", "K-2", generation=2),
            "K-3": {
                "generation": 2,
                "reason_paths": [
                    ["REF", "R-1", "RIG", "K-3"],
                    ["REF", "A-1", "CELL-A", "RIG", "K-3"],
                ],
            },
            "K-4": reached("REF", "R-1", "RIG", "RIG-O", "K-4", generation=2),
        },
    },
}

NOON = "2025-03-01T12:00:00Z"
TOUCHING = {
    "id": "A9",
    "title": "A part that was taken out and put back on the day of a bare date is held once",
    "source": "Compound items: a fault of a measuring part itself counts by share; bare dates",
    "laboratory": lab(
        cal("K-1", "CI", "2025-03-01", BY_RIG, [row("10")]),
        composition=[
            part("RIG", "REF", "0.5") | {"until": NOON},
            part("RIG", "REF", "0.5") | {"from": NOON},
            part("RIG", "GOOD", "0.5"),
        ],
        kinds=RIGS | {"REF": "reference_standard", "GOOD": "reference_standard"},
    ),
    "fault": force_fault(),
    # REF carries half of the force whichever of the two stays it was: 0.5 x 0.0005 = 0.00025.
    "expected": {"affected": {"K-1": reached("REF", "RIG", "K-1", generation=1, points=[HALF])}},
}

COMPOUNDS: list[Json] = [
    SHARES_GIVEN,
    SHARES_ABSENT,
    NESTED,
    PART_ITSELF,
    OWN_VALUE,
    OTHER_PART,
    PIN_BY_TYPE,
    CONFIRMED_PART,
    TOUCHING,
]
