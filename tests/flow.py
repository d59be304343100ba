"""A laboratory in which one tension link goes through the whole flow, for tests of its steps.

Invented. Readings are chosen so that means are worked out in the head; see the comments.
"""

from __future__ import annotations

import json
from typing import Any

ITEMS = [
    {"id": "TL-1", "kind": "customer_instrument", "type": "tension_link", "capacity": "100 kN"},
    {"id": "TL-2", "kind": "customer_instrument", "type": "tension_link", "capacity": "100 kN"},
    {"id": "CR-1", "kind": "customer_instrument", "type": "crane_scale", "capacity": "100 kN"},
    {"id": "REF-1", "kind": "reference_standard", "type": "load_cell", "capacity": "200 kN"},
    {"id": "REF-2", "kind": "reference_standard", "type": "load_cell", "capacity": "200 kN"},
    {"id": "FM-9", "kind": "force_machine", "capacity": "300 kN"},
    {"id": "DMM", "kind": "readout"},
    {"id": "DMM-2", "kind": "readout"},
    *({"id": f"CLV-{n}", "kind": "adapter", "type": "clevis", "capacity": "200 kN"} for n in "123"),
]
# U is 0.02 % of the force.
SPAN = [
    {"point": n, "unit": "kN", "applied": force, "error": "0", "U": U, "k": "2"}
    for n, (force, U) in enumerate((("5", "0.001"), ("200", "0.04")), 1)
]
ABOVE = [
    {
        "certificate": f"NI-{n}",
        "issuer": "National Institute",
        "external": True,
        "item": item,
        "performed_at": "2026-01-10T10:00:00Z",
        "due_at": "2027-01-10",
        "results": [] if item.startswith("DMM") else SPAN,
    }
    for n, item in enumerate(("REF-1", "REF-2", "FM-9", "DMM", "DMM-2"), 7)
]
LABORATORY = {"items": ITEMS, "calibrations": ABOVE}
SET_UP = {
    "instrument": "TL-1", "at": "2026-03-02T08:00:00Z", "references": [{"item": "REF-1"}],
    "readouts": ["DMM"], "planned_points": ["100 kN"],
    "fittings": [{"item": "CLV-1", "position": "top"}, {"item": "CLV-2", "position": "bottom"}],
}  # fmt: skip


def series(rotation: str, zero: str, *readings: str, **more: Any) -> dict[str, Any]:
    """Readings at 10, 50 and 100 kN."""
    up = [
        {"applied": force, "indicated": one}
        for force, one in zip(("10.00", "50.00", "100.00"), readings, strict=True)
    ]
    return {"rotation_deg": rotation, "zero_before": zero, "ascending": up} | more


# Deflections at 10 kN: 10.01, 10.02, 10.03, mean 10.02; at 50 kN: 50.03, 50.05, 50.04, mean 50.04;
# at 100 kN: 100.07, 100.08, 100.10, mean 300.25/3 = 100.0833... Falling at 50 kN: 50.06, 50.07.
RUNS = {
    "force_unit": "kN", "indication_unit": "kN", "degree": 1, "resolution": "0.01",
    "mode": "tension",
    "performed_at": "2026-03-02T09:00:00Z",
    "series": [
        series("0", "0.00", "10.01", "50.03", "100.07",
               descending=[{"applied": "50.00", "indicated": "50.06"}]),
        series("120", "0.01", "10.03", "50.06", "100.09",
               descending=[{"applied": "50.00", "indicated": "50.08"}]),
        series("240", "0.00", "10.03", "50.04", "100.10"),
    ],
}  # fmt: skip
DRIFT = {"name": "drift", "distribution": "rectangular", "half_width": "0.03", "relative": True}
MEASURED = {"certificate": "K-1", "item": "TL-1", "issued_at": "2026-03-03T10:00:00Z"}


def recorded(client: Any, path: str, sent: Any, status: int = 201) -> Any:
    """Answer to what was posted, which must have this status."""
    answer = client.post(f"/v1/{path}", json=sent)
    assert answer.status_code == status, answer.text
    return json.loads(answer.text)


def measure(client: Any) -> dict[str, Any]:
    """Record the laboratory, one set-up check, one run evaluation and one budget; return their ids.

    The item stands once in the set-up, the forces and readings once in the runs.
    """
    recorded(client, "imports", LABORATORY)
    check = recorded(client, "setup-checks", SET_UP)["id"]
    run = recorded(client, "run-evaluations", RUNS | {"set_up_check": check})["id"]
    made = recorded(
        client,
        "uncertainty-budgets",
        {"id": "UB-1", "run_evaluation": run, "components": [DRIFT]},
    )
    return {"set_up_check": check, "run_evaluation": run, "budget": made["id"]}


def refused(client: Any, sent: Any, path: str = "calibrations") -> list[tuple[str, str]]:
    """Return pointer and detail of each fault of what must be refused; each has a remedy."""
    answer = client.post(f"/v1/{path}", json=sent)
    assert 400 <= answer.status_code < 500, answer.text
    faults = answer.get_json()["errors"]
    assert all(one["remedy"] for one in faults)
    return [(one["pointer"], one["detail"]) for one in faults]
