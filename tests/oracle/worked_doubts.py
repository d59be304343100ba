"""Worked laboratories for DESIGN section 10, `cannot_be_excluded`, one for each point.

The same plain figures as in `worked_values`: REF is faulty by 0.0005 all through 2025.
"""

from __future__ import annotations

from oracle_cases import Json, cal, force_fault, lab, part, ref, row
from worked_values import (
    BY_GOOD,
    BY_REF,
    BY_WS,
    COMPRESSION,
    HALF,
    TENSION,
    WHOLE,
    at,
    reached,
)


def doubted(reason: str, *path: str, **more: object) -> Json:
    """A certificate that cannot be excluded for one reason, by one path."""
    return {"reasons": [reason], "reason_paths": [list(path)]} | more


ADAPTER = {"item": "ADP", "role": "adapter"}
NO_USE = {
    "id": "D1",
    "title": "A calibration in the window that names nothing in a role of the faulty item",
    "source": "cannot_be_excluded: no_use_in_role",
    # REF serves as force_reference, and RIG, which holds it, in the role build_up.
    "laboratory": lab(
        cal("C-1", "CI", "02-01", [*BY_REF, ADAPTER]),
        cal("C-2", "CJ", "03-01", [ADAPTER], customer="Varsk Hoists"),
        cal("C-3", "CK", "2024-12-15T10:00:00Z", [ADAPTER]),
        cal("C-4", "CL", "03-02", [*BY_GOOD, ADAPTER]),
        cal("C-5", "CM", "02-02", [{"item": "RIG", "role": "build_up"}]),
        cal("C-6", "CN", "03-03", [{"item": "RIG-2", "role": "build_up"}]),
        cal("X-1", "CX", "04-01", [ref("CJ")]),
        composition=[part("RIG", "REF")],
        kinds={"RIG": "force_machine", "RIG-2": "force_machine", "REF": "reference_standard"},
    ),
    "fault": force_fault(),
    # C-2 names an adapter only. C-3 came before the window. C-4 and C-6 name something else in one
    # of the two roles. REF is the only measuring part of RIG, so its fault counts whole in C-5.
    "expected": {
        "affected": {
            "C-1": reached("REF", "C-1", generation=1, points=[WHOLE]),
            "C-5": reached("REF", "RIG", "C-5", generation=1, points=[WHOLE]),
        },
        "cannot_be_excluded": {
            "C-2": doubted("no_use_in_role", "REF", "C-2", customer="Varsk Hoists", item="CJ"),
            "X-1": doubted("rests_on_doubt", "REF", "C-2", "CJ", "X-1"),
        },
    },
}

UNDATED = {
    "id": "D2",
    "title": "An undated void serves nobody, and nobody can be sure",
    "source": "cannot_be_excluded: undated_void",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, status="voided"),
        cal("C-1", "CI", "02-15", BY_WS),
        cal("W-2", "WS", "03-01", BY_GOOD),
        cal("C-2", "CJ", "03-10", BY_WS),
        cal("C-3", "CK", "03-11", [ref("WS", certificate="W-1", revision=0)]),
    ),
    "fault": force_fault(),
    # C-2 would rest on W-2 even if W-1 stood. C-3 names W-1 and is followed whatever its status.
    "expected": {
        "affected": {
            "C-3": reached("REF", "W-1", "WS", "C-3", generation=2, points=[WHOLE]),
        },
        "traced_not_recalled": {"W-1": reached("REF", "W-1", generation=1, reason="voided")},
        "cannot_be_excluded": {"C-1": doubted("undated_void", "REF", "W-1", "WS", "C-1")},
    },
}

WRONG_MODE = {
    "id": "D3",
    "title": "The mode is not recorded, or the item was never calibrated in it",
    "source": "cannot_be_excluded: mode_not_recorded, other_mode_only",
    "laboratory": lab(
        cal("W-T", "WS", "02-01", BY_REF, **TENSION),
        cal("C-2", "CJ", "2025-02-01T12:00:00Z", BY_WS),
        cal("W-C", "WS", "02-02", BY_GOOD, **COMPRESSION),
        cal("C-1", "CI", "03-01", BY_WS),
        cal("V-T", "WV", "02-03", BY_REF, **TENSION),
        cal("C-3", "CK", "03-02", [ref("WV")], **COMPRESSION),
        cal("U-T", "WU", "02-04", BY_GOOD, **TENSION),
        cal("C-4", "CL", "03-03", [ref("WU")], **COMPRESSION),
        cal("B-0", "WB", "02-05", BY_REF),
        cal("B-T", "WB", "02-06", BY_GOOD, **TENSION),
        cal("C-5", "CM", "03-04", [ref("WB")]),
    ),
    "fault": force_fault(),
    # C-1 rests on the latest, W-C (good); in tension it would have been W-T. C-2 had W-T only.
    # C-3 is of a mode in which WV had no certificate. That of WU would not have listed C-4.
    # B-0 has no mode and so serves compression too: had C-5 been that, it would rest on B-0.
    "expected": {
        "affected": {
            "B-0": {"points": [WHOLE]},
            "V-T": {"points": [WHOLE]},
            "W-T": {"points": [WHOLE]},
            "C-2": reached("REF", "W-T", "WS", "C-2", generation=2, points=[WHOLE]),
        },
        "cannot_be_excluded": {
            "C-1": doubted("mode_not_recorded", "REF", "W-T", "WS", "C-1"),
            "C-3": doubted("other_mode_only", "REF", "V-T", "WV", "C-3"),
            "C-5": doubted("mode_not_recorded", "REF", "B-0", "WB", "C-5"),
        },
    },
}


def forces(*applied: str) -> list[Json]:
    """Results at these forces."""
    return [row(force, point=number) for number, force in enumerate(applied, start=1)]


WIDE, SHORT = forces("10", "50"), forces("10", "20")
OUTSIDE = {
    "id": "D4",
    "title": "A force beyond the value in force and within an earlier one",
    "source": "cannot_be_excluded: outside_range",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, WIDE),
        cal("W-2", "WS", "03-01", BY_GOOD, SHORT),
        cal("C-1", "CI", "04-01", BY_WS, forces("20", "40")),
        cal("C-2", "CJ", "04-02", BY_WS, forces("20")),
        cal("C-3", "CK", "04-03", BY_WS, forces("60")),
        cal("C-4", "CL", "04-04", BY_WS, forces("0", "15")),
        cal("V-1", "WV", "02-01", BY_REF, WIDE),
        cal("V-2", "WV", "02-10", BY_GOOD, WIDE),
        cal("V-3", "WV", "03-01", BY_GOOD, SHORT),
        cal("C-5", "CM", "04-05", [ref("WV")], forces("40")),
        cal("A-1", "CELL-A", "02-01", BY_REF, WIDE),
        cal("A-2", "CELL-A", "03-01", BY_GOOD, SHORT),
        cal("B-1", "CELL-B", "02-01", BY_GOOD, WIDE),
        cal("K-1", "CN", "04-06", [ref("RIG")], forces("60")),
        cal("K-2", "CO", "04-07", [ref("RIG")], forces("40")),
        composition=[part("RIG", "CELL-A", "0.5"), part("RIG", "CELL-B", "0.5")],
        kinds={"RIG": "force_machine"},
    ),
    "fault": force_fault(),
    # W-2 spans 10 to 20 kN. C-1: 40 is outside it and inside W-1. C-2: 20 is its end, inside.
    # C-3: 60 is outside both. C-4: zero is no point of use here. C-5: the latest over 40 is V-2,
    # which is good. K-1: a cell bears 0.5 x 60 = 30, outside A-2 and inside A-1; K-2: 20, inside.
    "expected": {
        "affected": {
            "A-1": {"generation": 1},
            "V-1": {"generation": 1},
            # 0.0005 x 50 = 0.025
            "W-1": {"points": [WHOLE, at("0.0005", "-0.025", "-0.025", verdict_after="fail")]},
        },
        "cannot_be_excluded": {
            "C-1": doubted("outside_range", "REF", "W-1", "WS", "C-1"),
            "K-1": doubted("outside_range", "REF", "A-1", "CELL-A", "RIG", "K-1"),
        },
    },
}

BY_ANY = [ref("RIG-N")]
UNSHARED = {
    "id": "D7",
    "title": "Which force a part bore is not known without its share, and is not taken to be small",
    "source": "cannot_be_excluded: outside_range; its silence on shares: section 10, nothing slips",
    "laboratory": lab(
        cal("A-1", "CELL-A", "02-01", BY_REF, WIDE),
        cal("A-2", "CELL-A", "03-01", BY_GOOD, SHORT),
        cal("K-1", "CI", "04-01", BY_ANY, forces("60")),
        cal("K-2", "CJ", "04-02", BY_ANY, forces("20")),
        cal("K-3", "CK", "04-03", BY_ANY, forces("0")),
        cal("X-1", "CX", "04-10", [ref("CI")]),
        cal("B-1", "CELL-C", "02-01", BY_REF, SHORT),
        cal("B-2", "CELL-C", "03-01", BY_GOOD, WIDE),
        cal("K-4", "CL", "04-04", [ref("RIG-O")], forces("60")),
        composition=[
            part("RIG-N", "CELL-A"),
            part("RIG-N", "CELL-B"),
            part("RIG-O", "CELL-C"),
            part("RIG-O", "CELL-D"),
        ],
        kinds={"RIG-N": "force_machine", "RIG-O": "force_machine"}
        | dict.fromkeys(("CELL-B", "CELL-D"), "working_standard"),
    ),
    "fault": force_fault(),
    # CELL-B and CELL-D have no value, so that no share is known. A-2 spans 10 to 20 kN, A-1 10 to
    # 50. K-1: CELL-A bore something up to 60, so 20 to 50 as well. K-2: up to 20, which A-2 holds;
    # below 10 there is no certificate. K-3: no share of nothing is a force. K-4: what B-1 holds B-2
    # does too. X-1 rests on K-1.
    "expected": {
        "affected": {
            "A-1": {"generation": 1},
            "B-1": {"generation": 1},
        },
        "cannot_be_excluded": {
            "K-1": doubted("may_be_outside_range", "REF", "A-1", "CELL-A", "RIG-N", "K-1"),
            "X-1": doubted("rests_on_doubt", "REF", "A-1", "CELL-A", "RIG-N", "K-1", "CI", "X-1"),
        },
    },
}

PASSED_ON = {
    "id": "D5",
    "title": "Doubt is passed on like a value and ends like one",
    "source": "cannot_be_excluded: rests_on_doubt",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, status="voided"),
        cal("C-1", "CI", "02-10", BY_WS),
        cal("X-1", "CX", "03-01", [ref("CI")]),
        cal("Y-1", "CY", "03-02", [ref("CI")], assigns_value=False),
        cal("Z-1", "CZ", "03-03", [ref("CY")]),
        cal("C-2", "CI", "04-01", BY_GOOD),
        cal("X-2", "CW", "04-10", [ref("CI")]),
    ),
    "fault": force_fault(),
    # Z-1 rests on a certificate that assigns nothing; X-2 on C-2, which is good.
    "expected": {
        "traced_not_recalled": {"W-1": {"reason": "voided"}},
        "cannot_be_excluded": {
            "C-1": doubted("undated_void", "REF", "W-1", "WS", "C-1"),
            "X-1": doubted("rests_on_doubt", "REF", "W-1", "WS", "C-1", "CI", "X-1"),
            "Y-1": doubted("rests_on_doubt", "REF", "W-1", "WS", "C-1", "CI", "Y-1"),
        },
    },
}

ONE_LIST = {
    "id": "D6",
    "title": "A certificate that is listed already carries its doubts there",
    "source": "cannot_be_excluded: one list; cleared comes after it",
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, status="voided"),
        cal("C-1", "CI", "02-15", [ref("REF", "0.5"), ref("WS", "0.5")]),
        cal("X-1", "CX", "03-01", [ref("CI")]),
        cal("C-2", "CJ", "02-16", [ref("REF", "0.5", performed_at="2024-12-01"), ref("WS", "0.5")]),
        cal("C-3", "CK", "2024-12-02T10:00:00Z", BY_REF),
    ),
    "fault": force_fault(),
    # C-1 is affected by 0.5 x 0.0005 for certain, and by more if W-1 stood. X-1 rests on C-1, which
    # is not in the list of doubt. C-2 used REF before the window, but its other use is doubtful.
    "expected": {
        "affected": {
            "C-1": reached("REF", "C-1", generation=1, points=[HALF], doubts=["undated_void"]),
            "X-1": reached("REF", "C-1", "CI", "X-1", generation=2, points=[HALF], doubts=None),
        },
        "traced_not_recalled": {"W-1": {"reason": "voided"}},
        "cannot_be_excluded": {"C-2": doubted("undated_void", "REF", "W-1", "WS", "C-2")},
        "cleared": {"C-3": {"reason": "window"}},
    },
}

DOUBTS: list[Json] = [NO_USE, UNDATED, WRONG_MODE, OUTSIDE, UNSHARED, PASSED_ON, ONE_LIST]
