"""A wrong pin was in a clevis for four months: comparison, fault, recall, in three calls.

An invented laboratory. The expected answer is worked out by hand beside each check; the figures of
the tension link are common practice, no source. The uncertainty of the effect uses the t of two
degrees of freedom in its closed form, t = a sqrt(2 / (1 - a^2)), and not the product's.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

import pytest

USED = [{"item": "REF", "role": "force_reference"}, {"item": "CLV-1", "role": "adapter"}]


def instrument(code: str, kind: str, capacity: str) -> dict[str, Any]:
    return {"id": code, "kind": "customer_instrument", "type": kind, "capacity": capacity}


def calibration(number: str, item: str, at: str, result: dict[str, Any], **more: Any) -> Any:
    made = {"certificate": number, "revision": 0, "status": "issued", "item": item}
    made |= {"performed_at": f"{at}T10:00:00Z", "uses": USED, "results": [result]}
    return made | more


def lbf(applied: str, error: str, U: str, tolerance: str) -> dict[str, Any]:
    made = {"point": 1, "stage": "single", "unit": "lbf", "applied": applied, "error": error}
    return made | {"U": U, "k": "2", "tolerance": tolerance, "rule": "guard_U"}


PERCENT = {"point": 1, "stage": "single", "error_rel_pct": "-1.70", "U_rel_pct": "0.02", "k": "2"}
PERCENT |= {"tolerance_rel_pct": "0.1", "rule": "guard_U"}
LABORATORY = {
    "items": [
        {"id": "REF", "kind": "reference_standard", "type": "load_cell"},
        {"id": "CLV-1", "kind": "adapter", "type": "clevis"},
        {"id": "CLV-2", "kind": "adapter", "type": "clevis"},
        {"id": "PIN-50MM", "kind": "adapter_part", "type": "pin"},
        {"id": "PIN-2IN", "kind": "adapter_part", "type": "pin"},
        *(instrument(f"TL-{n}", "tension_link", "50000 lbf") for n in (1, 2, 3, 4)),
        instrument("CR-1", "crane_scale", "5 tf"),
        instrument("DY-1", "dynamometer", "50 kN"),
    ],
    "composition": [
        # Fitted on 1 January for a model that takes 50 mm; from 1 February on it stayed in for all.
        {
            "assembly": "CLV-1",
            "part": "PIN-50MM",
            "from": "2025-01-01T08:00:00Z",
            "until": "2025-06-01T12:00:00Z",
        },
        {
            "assembly": "CLV-1",
            "part": "PIN-2IN",
            "from": "2025-06-01T12:00:00Z",
            "until": None,
        },
    ],
    "calibrations": [
        calibration("T-0", "TL-1", "2025-01-20", lbf("50000", "5", "10", "50")),
        calibration("T-1", "TL-1", "2025-02-10", lbf("50000", "10", "10", "50")),
        calibration("T-2", "TL-2", "2025-03-10", PERCENT),
        calibration("T-3", "TL-3", "2025-03-20", lbf("10000", "-100", "5", "250")),
        calibration("T-4", "TL-4", "2025-04-10", lbf("50000", "-815", "10", "50")),
        calibration("T-5", "TL-1", "2025-06-20", lbf("50000", "8", "10", "50")),
        calibration("T-6", "TL-2", "2025-05-02", lbf("50000", "8", "10", "50"), status="draft"),
        calibration(
            "T-7",
            "TL-3",
            "2025-05-05",
            lbf("50000", "8", "10", "50"),
            uses=[USED[0], {"item": "CLV-2", "role": "adapter"}],
        ),
        calibration("C-1", "CR-1", "2025-03-05", lbf("10000", "3", "2", "10")),
        calibration("D-1", "DY-1", "2025-04-01", lbf("10000", "3", "20", "100")),
    ],
    "checks": [],
}
SETUPS = {
    "usual": {"name": "2 in pin", "parts": ["PIN-2IN"], "pin_diameter": "2 in"},
    "other": {"name": "50 mm pin", "parts": ["PIN-50MM"], "pin_diameter": "50 mm"},
}
ON_LINK = {
    "instrument": {"item": "TL-1"},
    "unit": "lbf",
    "setups": SETUPS,
    "points": [
        # -420, -419 and -421 lbf of 25,000: -0.0168, -0.01676, -0.01684
        {
            "applied": "25000",
            "usual": ["25000", "25001", "24999"],
            "other": ["24580", "24582", "24578"],
        },
        # -860, -858 and -862 lbf of 50,000: -0.0172, -0.01716, -0.01724
        {
            "applied": "50000",
            "usual": ["50000", "50002", "49998"],
            "other": ["49140", "49144", "49136"],
        },
    ],
    "performed_at": "2025-06-03T09:00:00Z",
    "person": "R. Fenn",
}
ON_SCALE = ON_LINK | {
    "instrument": {"item": "CR-1"},
    "unit": "kgf",
    # +1, -1 and 0 kgf: no effect
    "points": [
        {"applied": "4000", "usual": ["4000", "4001", "4000"], "other": ["4001", "4000", "4000"]}
    ],
}
WINDOW = {"last_good_at": "2025-02-01T08:00:00Z", "isolated_at": "2025-06-01T12:00:00Z"}

# By run, mean of the two points: -0.0170, -0.01696, -0.01704. Mean -0.017, s = 0.00004, u of the
# mean 0.00004/sqrt(3), t of two degrees of freedom at 95.45 % instead of 2. From -0.0168 to
# -0.0172 the half-range is 0.0002: a rectangle, 0.0002/sqrt(3).
_A = 0.954499736104
_T = _A * sqrt(2 / (1 - _A * _A))  # 4.5265
U_EFFECT = 2 * sqrt((_T / 2 * 0.00004) ** 2 / 3 + 0.0002**2 / 3)  # 0.00025350


@pytest.fixture
def recalled(client) -> Any:
    """The laboratory's recall after three calls, and the fault that was its second answer."""

    def call(address: str, body: Any, status: int) -> Any:
        answered = client.post(address, json=body)
        assert answered.status_code == status, answered.text
        return answered.get_json()

    call("/v1/imports", LABORATORY, 201)
    # Another comparison, on a crane scale, was made the day before.
    scale = call("/v1/setup-comparisons", ON_SCALE, 201)
    found = call("/v1/setup-comparisons", ON_LINK, 201)
    request = {"item": "PIN-50MM", **WINDOW, "comparisons": [scale["id"]], "insignificant": "zero"}
    drafted = call(f"/v1/setup-comparisons/{found['id']}/fault", request, 200)
    return call("/v1/recalls", drafted, 201), drafted["fault"]


def numbers(answer: Any, name: str) -> list[str]:
    return [entry["certificate"] for entry in answer[name]]


def point_of(answer: Any, name: str, number: str) -> Any:
    (entry,) = [one for one in answer[name] if one["certificate"] == number]
    (point,) = entry["points"]
    return point


def test_the_comparison_becomes_the_fault(recalled):
    _, fault = recalled
    assert fault["effect_rel"] == {"tension_link": "-0.017", "crane_scale": "0"}
    assert float(fault["U_delta_rel"]) == pytest.approx(U_EFFECT, rel=1e-9)
    assert fault["U_delta_k"] == "2"
    assert "50 mm pin" in fault["note"]


def test_every_certificate_that_met_the_clevis_stands_in_its_list(recalled):
    answer, _ = recalled
    # T-7 was made in the other clevis and never met the pin.
    assert numbers(answer, "affected") == ["T-1", "T-2", "T-3", "T-4"]
    assert numbers(answer, "exposed_zero_effect") == ["C-1"]  # its own comparison: no effect
    assert numbers(answer, "indeterminate") == ["D-1"]  # nobody compared it on a dynamometer
    assert numbers(answer, "traced_not_recalled") == ["T-6"]  # a draft
    cleared = {entry["certificate"]: entry["reason"] for entry in answer["cleared"]}
    # T-0 before the last good evidence, T-5 when the other pin was in.
    assert cleared == {"T-0": "window", "T-5": "part"}
    assert answer["affected"][0]["reason_paths"] == [["PIN-50MM", "CLV-1", "T-1"]]


def test_a_pass_becomes_a_fail(recalled):
    point = point_of(recalled[0], "affected", "T-1")
    # +10 with a pin that makes the link read 850 low: in truth 10 + 0.017 x 50000 = 860.
    assert (point["shift"], point["corrected_error"]) == ("850", "860")
    # U: sqrt(10^2 + (50000 x 0.00025350)^2) = sqrt(100 + 160.65) = 16.14
    assert float(point["U_after"]) == pytest.approx(sqrt(100 + (50000 * U_EFFECT) ** 2), rel=1e-9)
    assert float(point["U_after"]) == pytest.approx(16.14, abs=0.01)
    # |10| <= 50 - 10, but 860 > 50 - 16.14
    assert (point["verdict_before"], point["verdict_after"]) == ("pass", "fail")
    assert point["changed"] is True


def test_a_fail_in_percent_becomes_a_pass(recalled):
    point = point_of(recalled[0], "affected", "T-2")
    # (1 - 0.0170)/(1 - 0.0170) - 1 = 0
    assert (point["shift"], point["corrected_error"]) == ("1.7", "0")
    # sqrt(0.02^2 + (100 x 0.00025350)^2) = sqrt(0.0004 + 0.00064261) = 0.03229
    assert float(point["U_after"]) == pytest.approx(sqrt(0.02**2 + (100 * U_EFFECT) ** 2), rel=1e-9)
    # 1.70 > 0.1 - 0.02; 0 <= 0.1 - 0.03229
    assert (point["verdict_before"], point["verdict_after"]) == ("fail", "pass")


def test_a_wide_tolerance_keeps_its_pass(recalled):
    point = point_of(recalled[0], "affected", "T-3")
    # -100 + 0.017 x 10000 = 70; sqrt(5^2 + 2.5350^2) = 5.606; 100 <= 245 and 70 <= 244.39
    assert (point["shift"], point["corrected_error"]) == ("170", "70")
    assert float(point["U_after"]) == pytest.approx(5.606, abs=0.001)
    assert (point["verdict_before"], point["verdict_after"]) == ("pass", "pass")
    assert point["changed"] is False


def test_the_uncertainty_of_the_effect_alone_can_withhold_a_pass(recalled):
    point = point_of(recalled[0], "affected", "T-4")
    # -815 + 850 = 35: within 50 - 10, the U of the certificate, but not within 50 - 16.14.
    assert point["corrected_error"] == "35"
    assert (point["verdict_before"], point["verdict_after"]) == ("fail", "fail")


def test_what_was_not_moved_is_given_as_it_was(recalled):
    scale = point_of(recalled[0], "exposed_zero_effect", "C-1")
    assert (scale["shift"], scale["corrected_error"], scale["changed"]) == ("0", "3", False)
    unknown = point_of(recalled[0], "indeterminate", "D-1")
    assert (unknown["corrected_error"], unknown["verdict_after"]) == (None, None)


def test_the_recall_keeps_how_its_effect_was_found(recalled):
    answer, fault = recalled
    assert answer["faults"][0]["note"] == fault["note"]
    assert answer["summary"]["verdict_changes"] == 2
