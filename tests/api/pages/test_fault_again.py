"""A stored fault comes back as the fields from which the same fault is made."""

from __future__ import annotations

from html import unescape
from zoneinfo import ZoneInfo

import pytest

from api.errors import InvalidRecord
from api.pages.fault_again import fields_of
from api.pages.fault_form import fault_of

ZONE = ZoneInfo("America/Phoenix")
WINDOW = {"last_good_at": "2024-09-16T10:00:00-07:00", "isolated_at": "2025-09-11T16:00:30-07:00"}
OF_REF = {"item": "REF-500A", **WINDOW}
FAULTS = [
    OF_REF | {"kind": "unknown"},
    OF_REF
    | {"kind": "true_force_relative_error", "delta_rel": "-0.0007"}
    | {"U_delta_rel": "0.0002", "U_delta_k": "2"},
    OF_REF
    | {"kind": "true_force_relative_error"}
    | {
        "segments": [
            {"above_kN": None, "up_to_kN": "100", "delta_rel": "0.0001"},
            {"above_kN": "100", "up_to_kN": None, "delta_rel": "-0.00025"},
        ]
    },
    OF_REF | {"kind": "indicates_high", "indication_rel": "0.0004"},
    OF_REF | {"kind": "interval", "bound_rel": "0.001", "meaning": "by feel"},
    OF_REF
    | {"kind": "linear_drift", "delta_rel": "0.001", "measured_at": "2025-09-12T08:00:00-07:00"},
    OF_REF | {"kind": "readout_gain", "channel": "CH1", "gain": "1.0005"},
    OF_REF
    | {"kind": "indication_effect_by_type", "other_types": "0.00"}
    | {"effect_rel": {"tension_link": "-0.0005", "crane_scale": "0.00"}},
    OF_REF
    | {"kind": "understated_uncertainty", "U_rel_recorded": "0.0001", "U_rel_right": "0.0003"}
    | {"k_recorded": "2", "k_right": "2.5"},
    OF_REF | {"kind": "true_force_offset", "delta_force": "-12.5", "unit": "lbf"},
    OF_REF
    | {"kind": "wrong_curve", "coefficients_recorded": ["0", "100.00"], "of": "force"}
    | {"coefficients_right": ["0", "100.2", "-0.05"], "unit": "kN"}
    | {"range": {"from": "10", "to": "500"}},
    {"item": "CF-3", "kind": "wrong_correction_factor", "entered_at": "2025-01-01"}
    | {"fixed_at": None, "factor_applied": "1.00032", "factor_right": "1.00035"},
    {"certificate": "MV-25-0052", "revision": 0, "kind": "unknown"},
    {"method": "FP-02 edition 4", "kind": "unknown"},
]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault["kind"])
def test_the_fields_of_a_fault_make_the_same_fault(fault):
    assert fault_of(fields_of(fault, ZONE), ZONE) == fault


@pytest.mark.parametrize(
    "more", [{"only": {"mode": "tension"}}, {"segments": [{"delta_rel": "0"}] * 61}]
)
def test_what_the_form_cannot_hold_is_said_and_not_dropped(more):
    with pytest.raises(InvalidRecord, match="--previous"):
        fields_of(FAULTS[0] | more, ZONE)


def test_a_second_look_begins_with_the_faults_of_the_first(visitor):
    page = unescape(visitor.get("/recalls/new?previous=1").text)
    assert '<option value="1" selected>' in page
    assert 'name="delta_rel" value="-0.07"' in page
    assert visitor.get("/recalls/new?previous=99").status_code == 404
