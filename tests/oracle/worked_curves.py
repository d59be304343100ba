"""Worked laboratories for a fault of a curve, by the plain figures of `worked_values`.

The curve that was used is F = 10 d, in kN and mV/V; the right one is F = 9.99 d + 0.005 d^2. At
a recorded force F (kN) d = F/10, the true force is 0.999 F + 0.00005 F^2, so that
delta = -0.001 + 0.00005 F: -0.0005 at 10 kN, none at 20 kN, 0.0005 at 30 kN.
"""

from __future__ import annotations

from oracle_cases import OPEN, Json, cal, lab, row
from worked_limits import FINE_CHECK
from worked_values import BY_REF, BY_WS, at, reached

LINE = {
    "of": "force",
    "coefficients": ["0", "10"],
    "unit": "kN",
    "deflection_unit": "mV/V",
    "range": {"from": "5", "to": "40"},
}
ASSIGNED = cal("R-1", "REF", "2024-12-01T00:00:00Z", [], [], external=True, curve=LINE)
WRONG: Json = {"kind": "wrong_curve", "coefficients_right": ["0", "9.99", "0.005"]} | OPEN
W_1 = cal("W-1", "WS", "02-01", BY_REF, [row("10", point=1), row("30", point=2)])
# WS carries -0.0005 at 10 and 0.0005 at 30 kN, in a line between: -0.00025 at 15 kN.
C_2 = cal("C-2", "CJ", "03-01", BY_WS, [row("15")])
C_1 = cal("C-1", "CI", "02-02", BY_REF, [row("20")])
AFFECTED = {
    "W-1": reached(
        "REF",
        "W-1",
        generation=1,
        points=[
            at("-0.0005", "0.005", "0.005", verdict_after="pass"),
            at("0.0005", "-0.015", "-0.015", verdict_after="fail"),
        ],
    ),
    "C-2": reached(
        "REF", "W-1", "WS", "C-2", generation=2, points=[at("-0.00025", "0.00375", "0.00375")]
    ),
}
BY_DEFAULT = {
    "id": "P1",
    "title": "The curve is the one in force; beyond its range nothing is known",
    "source": "Faults: wrong_curve",
    "laboratory": lab(ASSIGNED, W_1, C_1, cal("C-3", "CK", "02-03", BY_REF, [row("50")]), C_2),
    "fault": WRONG | {"item": "REF"},
    "expected": {
        "affected": AFFECTED,
        "exposed_zero_effect": {"C-1": reached("REF", "C-1", generation=1)},
        "indeterminate": {"C-3": reached("REF", "C-3", generation=1)},
    },
}
NARROWED = {
    "id": "P2",
    "title": "A check narrows a wrong curve if it could see the smallest effect at the forces used",
    "source": "Faults: wrong_curve; checks",
    "laboratory": lab(
        ASSIGNED,
        W_1,
        C_1,
        C_2,
        # 0.0003 + 0.0001 is below 0.0005, 0.0004 + 0.0001 is not.
        checks=[
            FINE_CHECK
            | {"at": "2025-01-15T00:00:00Z"}
            | {"acceptance_limit_rel": "0.0003", "U_rel": "0.0001"},
            FINE_CHECK
            | {"id": "K-2", "at": "2025-01-18T00:00:00Z"}
            | {"acceptance_limit_rel": "0.0004", "U_rel": "0.0001"},
        ],
    ),
    "fault": WRONG | {"item": "REF"},
    "window_start": "2025-01-15T00:00:00Z",
    "expected": {
        "affected": AFFECTED,
        "exposed_zero_effect": {"C-1": reached("REF", "C-1", generation=1)},
    },
}
OF_DEFLECTION = {
    "id": "P3",
    "title": "A curve of deflection: the true force is where the right curve has what was read",
    "source": "Faults: wrong_curve; faults of certificates",
    "laboratory": lab(
        ASSIGNED, cal("C-1", "CI", "02-02", BY_REF, [row("11", point=1), row("5", point=2)])
    ),
    # d = 0.1 F was used, d = 0.1 F + 0.001 F^2 is right. At 11 kN d = 1.1, which it has at 10 kN
    # (1 + 0.1): delta = -1/11. At 5 kN d = 0.5: F = -50 + sqrt(3000) = 4.77225575051661...,
    # delta = -0.0455488498966777 to 15 digits, shift 0.2277442494833885.
    "fault": WRONG
    | {
        "certificate": "R-1",
        "of": "deflection",
        "coefficients_recorded": ["0", "0.1"],
        "coefficients_right": ["0", "0.1", "0.001"],
    },
    "expected": {
        "affected": {
            "C-1": reached(
                "R-1",
                "REF",
                "C-1",
                generation=1,
                points=[
                    at("-0.0909090909091", "1", "1"),
                    at("-0.0455488498966777", "0.2277442494833885", "0.2277442494833885"),
                ],
            )
        },
    },
}
CURVES = [BY_DEFAULT, NARROWED, OF_DEFLECTION]
