"""Worked laboratories for DESIGN section 10, "What a use rested on", one or two for each point.

All figures by hand, in the comments. Unless told otherwise a result is 10 kN, error 0, U 0.002,
k 2, tolerance 0.01, guard_U, so that it passes up to 0.008; REF is faulty by 0.0005 all through
2025, which at 10 kN is a shift of -0.005; GOOD is not faulty.
"""

from __future__ import annotations

from oracle_cases import OPEN, Json, cal, force_fault, lab, ref, row

BY_REF, BY_GOOD, BY_WS = [ref("REF")], [ref("GOOD")], [ref("WS")]


def at(delta: str, shift: str, corrected: str, **more: object) -> Json:
    """What a point must say."""
    return {"delta_rel": delta, "shift": shift, "corrected_error": corrected} | more


# 0.0005 x 10 kN = 0.005 kN more force than recorded; half of it through a weight of 0.5.
WHOLE, HALF = at("0.0005", "-0.005", "-0.005"), at("0.00025", "-0.0025", "-0.0025")


def reached(*path: str, generation: int, **more: object) -> Json:
    """A certificate reached by one path."""
    return {"generation": generation, "reason_paths": [list(path)], "path_count": 1} | more


def voided_lab(**more: object) -> Json:
    """W-1 gives WS a bad value from 1 February and is voided on 1 March at ten."""
    return lab(
        cal("W-0", "WS", "01-10", BY_GOOD),
        cal(
            "W-1",
            "WS",
            "02-01",
            BY_REF,
            status="voided",
            voided_at="2025-03-01T10:00:00Z",
            **more,
        ),
        cal("C-1", "CI", "02-15", BY_WS),
        cal("C-2", "CJ", "03-01", BY_WS),
        cal("C-3", "CK", "02-28", [ref("WS", "0.5"), ref("GOOD", "0.5")]),
        cal("X-1", "CX", "05-01", [ref("CI")]),
    )


VOIDED = {
    "id": "V1",
    "title": "A voided certificate serves until the instant of its void, and its users stay users",
    "source": "What a use rested on: voids",
    "laboratory": voided_lab(),
    "fault": force_fault(),
    # C-1 and C-3 came before the void; X-1 came after it, but rests on C-1, which is not voided.
    # C-2 was made at the very instant of the void: WS has its value from W-0 again, which is good.
    "expected": {
        "affected": {
            "C-1": reached("REF", "W-1", "WS", "C-1", generation=2, points=[WHOLE]),
            "C-3": reached("REF", "W-1", "WS", "C-3", generation=2, points=[HALF]),
            "X-1": reached("REF", "W-1", "WS", "C-1", "CI", "X-1", generation=3, points=[WHOLE]),
        },
        "traced_not_recalled": {
            "W-1": reached("REF", "W-1", generation=1, reason="voided"),
        },
    },
}

BY_CERTIFICATE = {
    "id": "V2",
    "title": "A fault names a voided certificate from elsewhere in place of an item",
    "source": "What a use rested on: a fault that names a voided certificate",
    "laboratory": voided_lab(external=True, issuer="Outside Body"),
    "fault": {
        "certificate": "W-1",
        "issuer": "Outside Body",
        "kind": "true_force_relative_error",
        "delta_rel": "0.0004",
    }
    | OPEN,
    # 0.0004 x 10 = 0.004. Those who used WS under W-1 are the first generation; the path starts
    # at the certificate. W-1 itself used nothing that is faulty.
    "expected": {
        "affected": {
            "C-1": reached(
                "W-1", "WS", "C-1", generation=1, points=[at("0.0004", "-0.004", "-0.004")]
            ),
            "C-3": reached(
                "W-1", "WS", "C-3", generation=1, points=[at("0.0002", "-0.002", "-0.002")]
            ),
            "X-1": reached(
                "W-1",
                "WS",
                "C-1",
                "CI",
                "X-1",
                generation=2,
                points=[at("0.0004", "-0.004", "-0.004")],
            ),
        },
    },
}

SHARED = [ref("REF", "0.5"), ref("GOOD", "0.5")]
REVISED = {
    "id": "V3",
    "title": "A later revision serves from its issue, the earlier one until then",
    "source": "What a use rested on: revisions",
    # Revision 1 says that REF bore half of the force only; it was issued on 1 March at ten.
    "laboratory": lab(
        cal("W-1", "WS", "02-01", BY_REF, status="superseded"),
        cal("W-1", "WS", "02-01", SHARED, revision=1, issued_at="2025-03-01T10:00:00Z"),
        cal("C-1", "CI", "02-20", BY_WS),
        cal("C-2", "CJ", "03-01", BY_WS),
    ),
    "fault": force_fault(),
    "expected": {
        "affected": {
            "W-1": reached("REF", "W-1", generation=1, revision=1, points=[HALF]),
            "C-1": reached("REF", "W-1", "WS", "C-1", generation=2, points=[WHOLE]),
            "C-2": reached("REF", "W-1", "WS", "C-2", generation=2, points=[HALF]),
        },
        "traced_not_recalled": {
            "W-1": reached("REF", "W-1", generation=1, revision=0, reason="superseded"),
        },
    },
}

WITHDRAWN = {
    "id": "V4",
    "title": "When the last revision is voided, the superseded one does not come back",
    "source": "What a use rested on: the calibration is withdrawn",
    "laboratory": lab(
        cal("W-0", "WS", "01-10", BY_GOOD),
        cal("W-1", "WS", "02-01", BY_REF, status="superseded"),
        cal(
            "W-1",
            "WS",
            "02-01",
            SHARED,
            revision=1,
            issued_at="2025-03-01T10:00:00Z",
            status="voided",
            voided_at="2025-04-01T10:00:00Z",
        ),
        cal("C-1", "CI", "02-20", BY_WS),
        cal("C-2", "CJ", "03-10", BY_WS),
        cal("C-3", "CK", "04-10", BY_WS),
        cal("V-1", "WV", "02-01", BY_REF, status="superseded"),
        cal("V-1", "WV", "02-01", SHARED, revision=1),
        cal("C-4", "CL", "02-20", [ref("WV")]),
    ),
    "fault": force_fault(),
    # C-3 falls back on W-0, which is good. V-1 has no date of issue: its revision 1 serves from
    # the calibration on, and C-4 of 20 February rests on it, not on revision 0.
    "expected": {
        "affected": {
            "V-1": {"revision": 1, "points": [HALF]},
            "C-1": reached("REF", "W-1", "WS", "C-1", generation=2, points=[WHOLE]),
            "C-2": reached("REF", "W-1", "WS", "C-2", generation=2, points=[HALF]),
            "C-4": reached("REF", "V-1", "WV", "C-4", generation=2, points=[HALF]),
        },
        "traced_not_recalled": {
            "V-1": {"revision": 0, "reason": "superseded"},
            "W-1": {"revision": 0, "reason": "superseded"},
            "W-1/1": {"revision": 1, "reason": "voided"},
        },
    },
}

TENSION, COMPRESSION = {"mode": "tension"}, {"mode": "compression"}
MODES = {
    "id": "V5",
    "title": "A certificate of another mode neither gives a value nor ends a chain",
    "source": "What a use rested on: mode",
    "laboratory": lab(
        cal("W-T", "WS", "02-01", BY_REF, **TENSION),
        cal("W-C", "WS", "02-02", BY_GOOD, **COMPRESSION),
        cal("K-1", "CI", "03-01", BY_WS, **TENSION),
        cal("K-2", "CJ", "03-01", BY_WS, **COMPRESSION),
        cal("K-3", "CK", "03-01", [ref("WS", certificate="W-T")], **COMPRESSION),
        cal("W-B", "WB", "02-03", BY_REF),
        cal("K-4", "CL", "03-01", [ref("WB")], **COMPRESSION),
    ),
    "fault": force_fault(),
    # K-2 rests on W-C, which is good. K-3 names W-T and is followed although its mode is another.
    # W-B has no mode and so serves both.
    "expected": {
        "affected": {
            "W-T": reached("REF", "W-T", generation=1, points=[WHOLE]),
            "W-B": reached("REF", "W-B", generation=1, points=[WHOLE]),
            "K-1": reached("REF", "W-T", "WS", "K-1", generation=2, points=[WHOLE]),
            "K-3": reached("REF", "W-T", "WS", "K-3", generation=2, points=[WHOLE]),
            "K-4": reached("REF", "W-B", "WB", "K-4", generation=2, points=[WHOLE]),
        },
    },
}

UP, DOWN = {"direction": "increasing"}, {"direction": "decreasing"}
DIRECTIONS = {
    "id": "V6",
    "title": "What an item passes on is kept by direction",
    "source": "What a use rested on: nodes by direction",
    "laboratory": lab(
        cal(
            "W-1",
            "WS",
            "02-01",
            [
                ref("REF", {"1": "1", "2": "1", "3": "0.5", "4": "0.5"}),
                ref("GOOD", {"1": "0", "2": "0", "3": "0.5", "4": "0.5"}),
            ],
            [
                row("10", point=1, **UP),
                row("20", point=2, **UP),
                row("20", point=3, **DOWN),
                row("10", point=4, **DOWN),
            ],
        ),
        cal(
            "W-2",
            "WV",
            "02-01",
            [ref("REF", {"1": "1", "2": "0.4"}), ref("GOOD", {"1": "0", "2": "0.6"})],
            [row("10", point=1), row("10", point=2, **UP)],
        ),
        cal("C-1", "CI", "03-01", BY_WS, [row("15", **UP)]),
        cal("C-2", "CJ", "03-01", BY_WS, [row("15", **DOWN)]),
        cal("C-3", "CK", "03-01", BY_WS, [row("15")]),
        cal("C-4", "CL", "03-01", [ref("WV")], [row("10", **DOWN)]),
        cal("C-5", "CM", "03-01", [ref("WV")], [row("10", **UP)]),
    ),
    "fault": force_fault(),
    # WS at 15 kN: increasing 0.0005, x 15 = 0.0075; decreasing 0.00025, x 15 = 0.00375; a point
    # without direction may be either. WV: a decreasing point finds no node of its own and takes
    # that without direction, 0.0005; an increasing one takes its own, 0.4 x 0.0005 = 0.0002.
    "expected": {
        "affected": {
            "W-1": {"generation": 1},
            "W-2": {"generation": 1},
            "C-1": {"points": [at("0.0005", "-0.0075", "-0.0075", verdict_after="pass")]},
            "C-2": {"points": [at("0.00025", "-0.00375", "-0.00375")]},
            "C-4": {"points": [WHOLE]},
            "C-5": {"points": [at("0.0002", "-0.002", "-0.002")]},
        },
        "indeterminate": {
            "C-3": reached(
                "REF",
                "W-1",
                "WS",
                "C-3",
                generation=2,
                points=[{"delta_rel": None, "verdict_before": "pass", "changed": None}],
            ),
        },
    },
}

VALUES: list[Json] = [VOIDED, BY_CERTIFICATE, REVISED, WITHDRAWN, MODES, DIRECTIONS]
