"""Requests that are right, each with the address it is sent to, to be bent out of shape."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

DEMO = Path(__file__).parents[2] / "fixtures" / "demo_lab"
STORY = json.loads((DEMO / "story.json").read_text())
WINDOW = {"last_good_at": "2025-01-02T08:00:00-07:00", "isolated_at": "2025-09-11T16:00:00-07:00"}
KINDS: dict[str, dict[str, Any]] = {
    "true_force_relative_error": {
        "segments": [
            {"above_kN": "0", "up_to_kN": "50", "delta_rel": "-0.0007"},
            {"above_kN": "50", "up_to_kN": "500", "delta_rel": "0.0003"},
        ],
        "U_delta_rel": "0.0002",
        "U_delta_k": "2",
    },
    "indicates_high": {"indication_rel": "0.0012"},
    "wrong_correction_factor": {
        "factor_applied": "1.002",
        "factor_right": "1.0031",
        "entered_at": "2025-01-02T08:00:00-07:00",
        "fixed_at": None,
    },
    "indication_effect_by_type": {"effect_rel": {"load_cell": "0.0002"}, "other_types": "0"},
    "readout_gain": {"gain": "1.0004", "channel": "CH1", "item": "RDO-1"},
    "interval": {"bound_rel": "0.0008"},
    "linear_drift": {"delta_rel": "-0.0009", "measured_at": "2025-09-09T10:00:00-07:00"},
    "unknown": {},
}


def small_laboratory() -> dict[str, Any]:
    """A laboratory file with a record of every kind and nearly every field."""
    return {
        "title": "A small one",
        "items": [
            {"id": "Z-REF", "kind": "reference_standard", "type": "load_cell", "capacity": "50 kN"},
            {
                "id": "Z-TL",
                "kind": "customer_instrument",
                "type": "tension_link",
                "owner": "Quillback Hire",
                "properties": {"pin_diameter": "2 in"},
            },
            {"id": "Z-CLV", "kind": "adapter", "type": "clevis", "design_life_cycles": 2400},
            {"id": "Z-PIN", "kind": "adapter_part", "type": "pin", "cycles_at_last_inspection": 7},
            {"id": "Z-RDO", "kind": "readout", "channels": ["A", "B"]},
        ],
        "composition": [
            {"assembly": "Z-CLV", "part": "Z-PIN", "from": "2025-01-01", "until": "2026-01-01"}
        ],
        "calibrations": [
            {
                "certificate": "Z-1",
                "revision": 0,
                "status": "issued",
                "item": "Z-TL",
                "performed_at": "2025-03-01T10:00:00+01:00",
                "issued_at": "2025-03-02",
                "due_at": "2026-03-01",
                "customer": "Quillback Hire",
                "method": "FP-11",
                "mode": "tension",
                "load_applications": 15,
                "curve": {
                    **{"of": "force", "coefficients": ["0", "10.1", "-0.002"], "unit": "kN"},
                    **{"deflection_unit": "mV/V", "range": {"from": "5", "to": "20"}},
                },
                "uses": [
                    {
                        "item": "Z-REF",
                        "role": "force_reference",
                        "weight": {"1": "1", "2": "0.5"},
                        "factor_applied": "1.001",
                    },
                    {"item": "Z-CLV", "role": "adapter", "points": [1]},
                    {"item": "Z-RDO", "role": "readout_dut", "channel": "A"},
                ],
                "results": [
                    {
                        "point": 1,
                        "stage": "as_found",
                        "applied": "10",
                        "indicated": "10.012",
                        "error": "0.012",
                        "U": "0.004",
                        "k": "2",
                        "unit": "kN",
                        "tolerance": {"lower": "-0.015", "upper": "0.015"},
                        "rule": "guard_U",
                        "verdict_reported": "pass",
                    },
                    {
                        "point": 2,
                        "stage": "as_left",
                        "error_rel_pct": "0.02",
                        "U_rel_pct": "0.01",
                        "tolerance_rel_pct": "0.05",
                        "applied": "20",
                        "unit": "kN",
                        "rule": "four_state_U",
                    },
                ],
            }
        ],
        "checks": [
            {
                "id": "Z-CHK",
                "item": "Z-REF",
                "at": "2025-02-01T09:00:00Z",
                "result": "pass",
                "acceptance_limit_rel": "0.0005",
                "U_rel": "0.0001",
                "independent": True,
                "covers": "full range",
            }
        ],
    }


def decision() -> dict[str, Any]:
    """A decision with everything that can be asked of one."""
    return {
        "value": "50.012",
        "U": "0.020",
        "k": "2",
        "dof": "12",
        "unit": "kN",
        "nominal": "50",
        "tolerance": {"terms": [{"kind": "percent_of_reading", "value": "0.1"}]},
        "rule": {"guard": {"basis": "U", "factor": "0.5"}, "zones": 4},
        "prior": {"mean": "50", "sd": "0.02"},
    }


def budget() -> dict[str, Any]:
    """An uncertainty budget with components of several kinds and a correlation."""
    return {
        "point": {"value": "100", "unit": "kN"},
        "coverage": {"probability_pct": "95"},
        "components": [
            {"name": "reference", "kind": "reference", "U": "0.06", "k": "2"},
            {"name": "drift", "distribution": "rectangular", "half_width": "0.04"},
            {"name": "runs", "distribution": "readings", "readings": ["1.0", "1.1", "0.9"]},
        ],
        "correlations": [{"between": ["reference", "drift"], "r": "0.5"}],
    }


def runs() -> dict[str, Any]:
    """Runs of an instrument in three rotations."""

    def series(rotation: int, slope: float) -> dict[str, Any]:
        readings = [
            {"applied": str(force), "indicated": f"{force * slope:.5f}"} for force in (20, 60, 100)
        ]
        return {
            "rotation_deg": str(rotation),
            "zero_before": "0",
            "zero_after": "0.00004",
            "ascending": readings,
        }

    return {
        "force_unit": "kN",
        "indication_unit": "mV/V",
        "series": [series(0, 0.02), series(120, 0.02002), series(240, 0.01998)],
        "resolution": "0.00002",
        "reference": {"U_rel_pct": "0.02", "k": "2"},
        "degree": 1,
        "class_tables": ["iso_376_2011"],
    }


def deadweight() -> dict[str, Any]:
    """A stack of masses under computed gravity and air."""

    def sure(value: str, U: str = "0.001") -> dict[str, str]:
        return {"value": value, "U": U}

    return {
        "masses": [{"mass": sure("500"), "basis": "true", "density": sure("7840", "40")}],
        "gravity": {"measured": sure("9.80101", "0.00002")},
        "air": {"density": sure("1.2", "0.01")},
        "units": ["lbf", "kgf"],
    }


def requests() -> list[tuple[str, str, dict[str, Any]]]:
    """(method, address, body) of right requests to a server that holds the demo laboratory."""
    comparison = json.loads((DEMO / "pin_comparison.json").read_text())
    setups = json.loads((DEMO / "setups.json").read_text())
    required = json.loads((DEMO / "requirements.json").read_text())
    faults = [{"item": "REF-500A", "kind": kind} | WINDOW | rest for kind, rest in KINDS.items()]
    by_action = {"list": "affected", "action": "withdraw", "by": "A"}
    tolerance = {"terms": [{"kind": "percent_of_nominal", "value": "1"}]}
    usual = {name: value for name, value in decision().items() if name != "dof"}
    return [
        ("POST", "/v1/imports", small_laboratory()),
        ("POST", "/v1/imports?dry_run=true", small_laboratory()),
        *(("POST", "/v1/recalls", {"fault": fault, "preview": True}) for fault in faults),
        ("POST", "/v1/recalls", {"faults": faults[:2]}),
        ("POST", "/v1/recalls/comparisons", {"first": faults[0], "second": faults[1]}),
        ("POST", "/v1/recalls/fault-drafts", {"certificate": "OIF/23-0161"}),
        ("POST", "/v1/alerts/1/answers", {"by": "Quinn", "reason": "seen", "together": True}),
        (
            "POST",
            "/v1/alerts/answers",
            {"filter": {"item": "PIN-22A"}, "count": 1, "by": "Quinn", "reason": "scrapped"},
        ),
        ("PATCH", "/v1/recalls/1/case", {"state": "assessed", "by": "A", "reason": "b"}),
        ("POST", "/v1/recalls/1/dispositions", by_action),
        (
            "POST",
            "/v1/recalls/1/notice-exceptions",
            {"customers": ["Quillback Hire"], "by": "B", "reason": "c"},
        ),
        ("PATCH", "/v1/laboratory", {"name": "Z", "contact": "b"}),
        ("POST", "/v1/recalls/1/notices", {"by": "A", "reply_by": "2030-01-01"}),
        ("POST", "/v1/decisions", decision()),
        (
            "POST",
            "/v1/joint-decisions",
            {"results": [usual, usual | {"common_U": "0.01"}], "rule": "simple"},
        ),
        (
            "POST",
            "/v1/machine-evaluations",
            {
                "unit": "kN",
                "indication_unit": "N",
                "resolution": "1",
                "class_tables": ["iso_7500_1_2018"],
                "series": [
                    {
                        "ascending": [{"indicated": "20000", "applied": "20.01"}],
                        "descending": [{"indicated": "20000", "applied": "20.02"}],
                        "zero_after": "1",
                    }
                ],
            },
        ),
        ("POST", "/v1/batches", {"rows": [decision() | {"id": "1"}]}),
        (
            "POST",
            "/v1/decision-rules",
            {"id": "Z", "guard": {"basis": "specific_risk", "target": "0.02"}, "zones": 2},
        ),
        (
            "POST",
            "/v1/decision-rules",
            {
                "id": "Y",
                "guard": {"basis": "none"},
                "precondition": {"least_tur": "4"},
                "otherwise": {
                    "guard": {"basis": "U", "factor": "1"},
                    "precondition": {"greatest_U_over_T": "1/3"},
                    "otherwise": {"id": "guard_U", "version": 1},
                },
            },
        ),
        ("POST", "/v1/specifications", {"id": "Z", "unit": "kN", "tolerance": tolerance}),
        (
            "POST",
            "/v1/agreements",
            {
                "id": "Z",
                "customer": "Quillback Hire",
                "type": "tension_link",
                "rule": {"id": "guard_U", "version": 1},
                "from": "2025-01-01",
                "until": "2026-01-01",
                "by": "A",
            },
        ),
        ("POST", "/v1/uncertainty-budgets", budget()),
        (
            "POST",
            "/v1/cmcs",
            {
                "id": "Z",
                "mode": "tension",
                "range": {"lower": "1", "upper": "500", "unit": "kN"},
                "U_rel_pct": "0.05",
                "source": "ours",
            },
        ),
        ("POST", "/v1/run-evaluations", runs()),
        ("POST", "/v1/deadweight-forces", deadweight()),
        ("POST", "/v1/requirements", required[0]),
        ("POST", "/v1/setup-checks", setups[0]["setup"]),
        ("POST", "/v1/setup-comparisons", comparison),
        ("POST", "/v1/setup-comparisons/1/fault", {"item": "PIN-21A"} | WINDOW),
        (
            "POST",
            "/v1/load-events",
            {
                "id": "Z",
                "item": "PIN-21A",
                "at": "2025-05-01",
                "kind": "overload",
                "force": "350",
                "unit": "kN",
                "applications": 1,
                "person": "A",
            },
        ),
        ("POST", "/v1/customers", {"name": "Z", "contact": "b", "email": "z@example.org"}),
        ("POST", "/v1/persons", {"id": "z", "name": "Z", "office": "b"}),
        ("POST", "/v1/keys", {"name": "z", "scopes": ["read"], "expires": "2040-01-01"}),
        (
            "POST",
            "/v1/webhooks",
            {"url": "https://example.org/hook", "events": ["certificate.recalled"]},
        ),
        (
            "POST",
            "/v1/compositions/1/corrections",
            {"until": "2026-01-01", "by": "A", "reason": "b"},
        ),
        (
            "POST",
            "/v1/identity-swaps",
            {"items": ["LC-05", "LC-06"], "from": "2025-01-01", "by": "A", "reason": "b"},
        ),
        (
            "POST",
            "/v1/certificates/MV-25-0075/uses",
            {"use": {"item": "RDO-1", "role": "readout"}, "by": "A", "reason": "b"},
        ),
        (
            "POST",
            "/v1/certificates/MV-25-0075/void",
            {"reason": "b", "voided_at": "2026-01-01T00:00:00Z"},
        ),
    ]
