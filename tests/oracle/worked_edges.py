"""Worked laboratories for DESIGN section 10 where two of its points meet.

The plain figures of `worked_values`. RIG and INNER are force machines, which can hurt people: the
records say nothing about how to load or rig one.
"""

from __future__ import annotations

from oracle_cases import OPEN, Json, cal, force_fault, lab, part, ref, row
from worked_compounds import BY_RIG, UNKNOWN_POINT
from worked_values import BY_GOOD, BY_REF, BY_WS, DOWN, HALF, UP, WHOLE, at, reached

MACHINES = {"RIG": "force_machine", "INNER": "force_machine", "RO": "readout"}
NESTED = [
    part("RIG", "INNER", "0.5"),
    part("RIG", "CELL-A", "0.5"),
    part("INNER", "CELL-B"),
    part("INNER", "RO"),
]
CELLS = [cal("A-1", "CELL-A", "01-20", BY_GOOD), cal("B-1", "CELL-B", "01-21", BY_GOOD)]
ABOVE_20 = [
    {"above_kN": "0", "up_to_kN": "20", "delta_rel": "0"},
    {"above_kN": "20", "up_to_kN": "50", "delta_rel": "0.0005"},
]

NESTED_READOUT = {
    "id": "E1",
    "title": "A readout within an inner machine moves the outer one by the share of the inner one",
    "source": "Compound items: a fault counts by share; an inner assembly counts as one",
    "laboratory": lab(
        *CELLS,
        cal("K-1", "CI", "03-01", BY_RIG, [row("10", U="0.003")]),
        composition=NESTED,
        kinds=MACHINES,
    ),
    "fault": force_fault("RO", U_delta_rel="0.0016", U_delta_k="2"),
    # 0.5 x 0.0005 = 0.00025; W 0.5: U after = 2 sqrt(0.0015^2 + (0.5 x 10 x 0.0008)^2)
    # = 2 sqrt(0.00001825) = 0.00854400374531...
    "expected": {
        "affected": {
            "K-1": reached(
                "RO",
                "INNER",
                "RIG",
                "K-1",
                generation=1,
                points=[HALF | {"U_after": "0.00854400374532"}],
            )
        },
    },
}

NESTED_CERTIFICATE = {
    "id": "E2",
    "title": "A faulty certificate of that readout is cleared where it bore no faulty force",
    "source": "Faults of a certificate by segments; Compound items: any other part",
    "laboratory": lab(
        *CELLS,
        cal("O-1", "RO", "02-01", BY_GOOD),
        cal("K-1", "CI", "03-01", BY_RIG, [row("30", tolerance="0.05")]),
        cal("K-2", "CJ", "03-02", BY_RIG, [row("60", tolerance="0.05")]),
        composition=NESTED,
        kinds=MACHINES,
    ),
    "fault": {
        "certificate": "O-1",
        "kind": "true_force_relative_error",
        "segments": ABOVE_20,
    }
    | OPEN,
    # The inner machine bears half: 15 kN, where nothing was wrong, and 30 kN, where it was.
    "expected": {
        "indeterminate": {
            "K-2": reached("O-1", "RO", "INNER", "RIG", "K-2", generation=1, points=[UNKNOWN_POINT])
        },
        "cleared": {"K-1": {"reason": "range"}},
    },
}

ONLY_PART = {
    "id": "E3",
    "title": "A fault of the only measuring part counts whole, whatever share is recorded",
    "source": "Compound items: whole where it is the only one; shares sum to 1",
    "laboratory": lab(
        cal("A-1", "CELL-A", "02-01", [ref("WS")]),
        cal("K-1", "CI", "03-01", BY_RIG),
        cal("K-2", "CJ", "03-02", [ref("RIG-2")]),
        composition=[part("RIG", "REF", "0.5"), part("RIG-2", "CELL-A", "0.5")],
        kinds={"RIG": "force_machine", "RIG-2": "force_machine", "REF": "reference_standard"},
    ),
    "faults": [force_fault(), force_fault("WS")],
    # REF itself is faulty and alone in RIG. CELL-A only carries a value, and 0.5 is not the whole.
    "expected": {
        "affected": {
            "A-1": reached("WS", "A-1", generation=1, points=[WHOLE]),
            "K-1": reached("REF", "RIG", "K-1", generation=1, points=[WHOLE]),
        },
        "indeterminate": {
            "K-2": reached(
                "WS",
                "A-1",
                "CELL-A",
                "RIG-2",
                "K-2",
                generation=2,
                reason="shares",
                points=[UNKNOWN_POINT],
            )
        },
    },
}

UNCERTAIN_WAYS = {
    "id": "E4",
    "title": "An uncertainty that differs by direction cannot be told for a point without one",
    "source": "Nodes by direction; Faults: understated_uncertainty",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, [row(point=1, **UP), row(point=2, **DOWN)]),
        cal("C-1", "CI", "03-01", BY_WS, [row(U="0.003", **UP)]),
        cal("C-2", "CJ", "03-02", BY_WS, [row(U="0.003")]),
    ),
    "fault": {
        "item": "REF",
        "kind": "understated_uncertainty",
        "U_rel_recorded": "0.0003",
        "U_rel_right": "0.0005",
        "only": {"directions": ["increasing"]},
    }
    | OPEN,
    # u2 = 0.00025^2 - 0.00015^2 = 0.0002^2. Increasing: 2 sqrt(0.0015^2 + 0.002^2) = 0.005; the
    # other way nothing was understated. Without a direction it may be 0.005 or 0.003.
    "expected": {
        "affected": {
            "W-1": {},
            "C-1": reached(
                "REF",
                "W-1",
                "WS",
                "C-1",
                generation=2,
                points=[at("0", "0", "0", U_after="0.005")],
            ),
        },
        "indeterminate": {
            "C-2": reached("REF", "W-1", "WS", "C-2", generation=2, points=[UNKNOWN_POINT])
        },
    },
}

VOID_WITHOUT_ISSUE = {
    "id": "E5",
    "title": "A revision voided without any date does not come before the one it follows",
    "source": "undated_void; a later revision serves from its issue",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_GOOD, status="superseded"),
        cal(
            "W-1",
            "WS",
            "02-01",
            BY_GOOD,
            revision=1,
            status="superseded",
            issued_at="2025-04-01T00:00:00Z",
        ),
        cal("W-1", "WS", "02-01", BY_REF, revision=2, status="voided"),
        cal("C-1", "CI", "03-01", BY_WS),
        cal("C-2", "CJ", "05-01", BY_WS),
    ),
    "fault": force_fault(),
    # C-1 was made before revision 1 came out, on 1 April; revision 2 came after that.
    "expected": {
        "traced_not_recalled": {"W-1": {"revision": 2, "reason": "voided"}},
        "cannot_be_excluded": {"C-2": {"reasons": ["undated_void"]}},
    },
}

NAMED_DRAFT = {
    "id": "E6",
    "title": "A named draft is a value of its own, and a part calibrated after it is not shielded",
    "source": "What a use rested on: named certificates; Compound items: an own value",
    "laboratory": lab(
        cal("R-1", "RIG", "01-20", BY_GOOD, status="draft"),
        cal("A-1", "CELL-A", "02-01", BY_REF),
        cal("K-1", "CI", "03-01", [ref("RIG", certificate="R-1", revision=0)]),
        composition=[part("RIG", "CELL-A")],
        kinds=MACHINES,
    ),
    "fault": force_fault(),
    "expected": {
        "affected": {"A-1": {"generation": 1}},
        "indeterminate": {
            "K-1": reached(
                "REF", "A-1", "CELL-A", "RIG", "K-1", generation=2, points=[UNKNOWN_POINT]
            )
        },
    },
}

ZERO_POINT = {
    "id": "E7",
    "title": "A single point at zero force of another direction leaves no point",
    "source": "Faults: only, directions",
    "laboratory": lab(
        cal("C-1", "CI", "02-01", BY_REF, [row("0", **UP)]),
        cal("C-2", "CJ", "02-02", BY_REF, [row("0", **DOWN)]),
    ),
    "fault": force_fault(only={"directions": ["decreasing"]}),
    "expected": {
        "exposed_zero_effect": {"C-2": {"points": [at("0", "0", "0")]}},
        "cleared": {"C-1": {"reason": "direction"}},
    },
}

NO_OFFSET_THAT_WAY = {
    "id": "E8",
    "title": "No offset of a direction is none at a point without force too",
    "source": "Faults: true_force_offset, only; nodes by direction",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, [row(point=1, **UP), row(point=2, **DOWN)]),
        cal("C-1", "CI", "03-01", BY_WS, [row(point=1, **UP), row(None, point=2, **DOWN)]),
    ),
    "fault": {
        "item": "REF",
        "kind": "true_force_offset",
        "delta_force": "5",
        "unit": "N",
        "only": {"directions": ["increasing"]},
    }
    | OPEN,
    # 5 N of 10 kN: 0.0005.
    "expected": {
        "affected": {
            "W-1": {"points": [WHOLE, at("0", "0", "0")]},
            "C-1": {"points": [WHOLE, at("0", "0", "0")]},
        },
    },
}

NAMED_SUPERSEDED = {
    "id": "E11",
    "title": "A named certificate is the value in either mode, and shields the older parts",
    "source": "Mode: a certificate that the use names is followed whatever its mode",
    "laboratory": lab(
        cal("A-1", "CELL-A", "01-20", BY_REF),
        cal("R-1", "RIG", "02-01", BY_GOOD, status="superseded"),
        cal("K-1", "CI", "03-01", [ref("RIG", certificate="R-1", revision=0)]),
        composition=[part("RIG", "CELL-A")],
        kinds=MACHINES,
    ),
    "fault": force_fault(),
    # R-1 serves nobody by date, as no later revision is recorded; K-1 names it all the same.
    "expected": {"affected": {"A-1": {"generation": 1}}},
}

SHARE_OF_NOTHING = {
    "id": "E12",
    "title": "At zero force no cell bears anything, whatever the shares are",
    "source": "Faults by segments; Compound items: shares absent",
    "laboratory": lab(
        cal("K-1", "CI", "03-01", BY_RIG, [row("0")]),
        cal("K-2", "CJ", "03-02", BY_RIG, [row("30")]),
        composition=[part("RIG", "CELL-A"), part("RIG", "CELL-B")],
        kinds=MACHINES | {"CELL-A": "working_standard", "CELL-B": "working_standard"},
    ),
    "fault": {
        "item": "CELL-A",
        "kind": "true_force_relative_error",
        "segments": ABOVE_20,
    }
    | OPEN,
    # Neither cell has a value in force, so that nobody knows the shares of 30 kN.
    "expected": {
        "indeterminate": {"K-2": {"reason": "shares", "points": [UNKNOWN_POINT]}},
        "cleared": {"K-1": {"reason": "range"}},
    },
}

NO_OFFSET_WITHOUT_FORCE = {
    "id": "E13",
    "title": "A node without force that is off by nothing passes on nothing at any force",
    "source": "Faults: true_force_offset, only; nodes by direction",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, [row(None, point=1, **UP), row(point=2, **DOWN)]),
        cal("C-1", "CI", "03-01", BY_WS, [row("50", **UP)]),
    ),
    "fault": {
        "item": "REF",
        "kind": "true_force_offset",
        "delta_force": "5",
        "unit": "N",
        "only": {"directions": ["decreasing"]},
    }
    | OPEN,
    "expected": {
        "affected": {"W-1": {"points": [at("0", "0", "0"), WHOLE]}},
        "exposed_zero_effect": {"C-1": {"points": [at("0", "0", "0")]}},
    },
}

KNOWN_BESIDE_UNKNOWN = {
    "id": "E14",
    "title": "U after stands at the known points of a certificate that has an unknown one",
    "source": "Faults: entries with an unknown point",
    "laboratory": lab(
        cal(
            "C-1",
            "CI",
            "03-01",
            BY_REF,
            [row(point=1, U="0.003", **UP), row(point=2, U="0.003"), row(point=3, **DOWN)],
        ),
    ),
    "fault": force_fault(U_delta_rel="0.0004", U_delta_k="2", only={"directions": ["increasing"]}),
    # 2 sqrt(0.0015^2 + (10 x 0.0002)^2) = 0.005; the way back is left alone and keeps its 0.002.
    "expected": {
        "indeterminate": {
            "C-1": {
                "points": [
                    WHOLE | {"U_after": "0.005"},
                    UNKNOWN_POINT | {"U_after": None},
                    at("0", "0", "0", U_after="0.002", changed=False),
                ]
            }
        },
    },
}

CANCELS_AT_ANY_FORCE = {
    "id": "E10",
    "title": "Offsets that cancel do so at a point without force too; without that nobody can tell",
    "source": "Faults: true_force_offset; paths of one fault cancel",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF),
        cal("C-1", "CI", "03-01", [*BY_WS, ref("REF", "-1")], [row(None)]),
        cal("C-2", "CJ", "03-02", [*BY_WS, ref("REF", "-0.5")], [row(None)]),
    ),
    "fault": {"item": "REF", "kind": "true_force_offset", "delta_force": "5", "unit": "N"} | OPEN,
    # 5 - 5 = 0 N at any force, 5 - 0.5 x 5 = 2.5 N of a force that nobody recorded.
    "expected": {
        "affected": {"W-1": {"points": [WHOLE]}},
        "exposed_zero_effect": {"C-1": {"points": [at("0", "0", "0")]}},
        "indeterminate": {"C-2": {"points": [UNKNOWN_POINT]}},
    },
}

NOT_YET_THERE = {
    "id": "E9",
    "title": "A force that an assembly bore before it held the part is none of the part's",
    "source": "Window: a check by points covers the used range; composition",
    "laboratory": lab(
        cal("C-1", "CI", "02-01", [ref("ADP", role="adapter")], [row("50", tolerance="0.1")]),
        cal("C-2", "CJ", "03-01", [ref("ADP", role="adapter")], [row("10")]),
        composition=[part("ADP", "PIN", start="2025-02-15")],
        kinds={"ADP": "adapter", "PIN": "adapter_part"},
        checks=[
            {
                "id": "K-1",
                "item": "PIN",
                "at": "2025-02-20T00:00:00Z",
                "kind": "intermediate",
                "result": "pass",
                "acceptance_limit_rel": "0.0001",
                "U_rel": "0.0001",
                "independent": True,
                "covers": ["50 kN"],
            }
        ],
    ),
    "fault": force_fault("PIN"),
    # PIN was only ever used at 10 kN; a check at 50 kN does not cover that.
    "window_start": "2025-01-01T00:00:00Z",
    "expected": {
        "affected": {"C-2": reached("PIN", "ADP", "C-2", generation=1, points=[WHOLE])},
        "cleared": {"C-1": {"reason": "part"}},
    },
}

EDGES: list[Json] = [
    NESTED_READOUT,
    NESTED_CERTIFICATE,
    ONLY_PART,
    UNCERTAIN_WAYS,
    VOID_WITHOUT_ISSUE,
    NAMED_DRAFT,
    ZERO_POINT,
    NO_OFFSET_THAT_WAY,
    CANCELS_AT_ANY_FORCE,
    KNOWN_BESIDE_UNKNOWN,
    SHARE_OF_NOTHING,
    NO_OFFSET_WITHOUT_FORCE,
    NAMED_SUPERSEDED,
    NOT_YET_THERE,
]
