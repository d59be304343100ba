"""A fault as it was reported: its kind, its window, and the checks that narrow it."""

from __future__ import annotations

from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from oracle_cases import OPEN

from api.errors import InvalidRecord
from api.schemas.faults import FaultSchema
from api.services.recalls.faults import build
from graph import faults as kinds
from graph.moments import Moment

F = Fraction
UTC = ZoneInfo("UTC")
DAY = 86_400_000_000


def made(zone=UTC, **fault):
    return build(FaultSchema().load({"item": "REF"} | OPEN | fault), zone, name="REF")


@pytest.mark.parametrize(
    ("sent", "kind", "facts"),
    [
        (
            {"kind": "true_force_relative_error", "delta_rel": "-0.0002"},
            kinds.ForceError,
            {"delta_rel": F("-0.0002")},
        ),
        (
            {
                "kind": "true_force_relative_error",
                "segments": [{"above_kN": None, "up_to_kN": "1.5", "delta_rel": "0.1"}],
            },
            kinds.SegmentedForceError,
            {"segments": (kinds.Segment(None, F(1500), F("0.1")),)},
        ),
        (
            {"kind": "indicates_high", "indication_rel": "0.0006"},
            kinds.IndicatesHigh,
            {"indication_rel": F("0.0006")},
        ),
        (
            {
                "kind": "indication_effect_by_type",
                "effect_rel": {"pin": "0"},
                "other_types": "indeterminate",
            },
            kinds.EffectByType,
            {"effect_rel": {"pin": F(0)}, "other_types": None},
        ),
        (
            {"kind": "readout_gain", "gain": "1.01", "channel": "A"},
            kinds.ReadoutGain,
            {"channel": "A"},
        ),
        (
            {"kind": "interval", "bound_rel": "0.002"},
            kinds.WithinInterval,
            {"bound_rel": F("0.002")},
        ),
        ({"kind": "unknown"}, kinds.UnknownEffect, {}),
        (
            {"kind": "unknown", "U_delta_rel": "0.1", "U_delta_k": "3"},
            kinds.UnknownEffect,
            {"U_delta_rel": F("0.1"), "U_delta_k": F(3)},
        ),
    ],
)
def test_each_kind_becomes_the_fault_of_the_graph(sent, kind, facts):
    fault = made(**sent)
    assert type(fault) is kind
    assert {name: getattr(fault, name) for name in facts} == facts


def test_a_drift_counts_bare_dates_at_noon():
    drift = {"kind": "linear_drift", "delta_rel": "0.001", "measured_at": "1970-01-12"}
    fault = made(**drift, last_good_at="1970-01-02", isolated_at=None)
    assert (fault.good_us, fault.measured_us) == (DAY + DAY // 2, 11 * DAY + DAY // 2)


def test_bare_dates_widen_the_window_so_that_nothing_is_missed():
    fault = made(kind="unknown", last_good_at="1970-01-02", isolated_at="1970-01-03")
    assert (fault.start_us, fault.end_us) == (DAY, 3 * DAY - 1)
    vienna = made(ZoneInfo("Europe/Vienna"), kind="unknown", last_good_at="1970-01-02")
    assert vienna.start_us == DAY - 3_600_000_000


def test_a_data_fault_has_its_own_times():
    sent = {"kind": "wrong_correction_factor", "factor_applied": "0.8", "factor_right": "1"}
    times = {"entered_at": "1970-01-02T00:00:00Z", "fixed_at": None}
    fault = build(FaultSchema().load({"item": "REF"} | sent | times), UTC, None, name="REF")
    assert (fault.start_us, fault.end_us) == (DAY, None)


def test_a_data_fault_put_right_on_a_bare_day_lasts_the_whole_of_it():
    # Its window ends before its end: of a bare day that is the midnight after it.
    sent = {"kind": "wrong_correction_factor", "factor_applied": "0.8", "factor_right": "1"}
    times = {"entered_at": "1970-01-02", "fixed_at": "1970-01-03"}
    window = build(
        FaultSchema().load({"item": "REF"} | sent | times), UTC, None, name="REF"
    ).window()
    assert (window.start_us, window.end_us, window.end_inclusive) == (DAY, 3 * DAY, False)
    assert window.holds(Moment(3 * DAY - 1, 3 * DAY - 1))
    assert not window.holds(Moment(3 * DAY, 3 * DAY))


def test_an_open_end_stays_open_unless_an_instant_is_asked_about():
    assert made(kind="unknown", isolated_at=None).end_us is None


def test_a_window_that_ends_before_it_begins_is_refused():
    with pytest.raises(InvalidRecord):
        made(kind="unknown", isolated_at="2024-12-31T23:59:59Z")
