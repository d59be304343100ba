"""A fault as it was reported: its kind, its window, and the checks that narrow it."""

from __future__ import annotations

import json
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref

from api.errors import InvalidRecord
from api.schemas.faults import FaultSchema
from api.services.recalls.faults import build
from graph import faults as kinds

F = Fraction
UTC = ZoneInfo("UTC")
DAY = 86_400_000_000


def made(zone=UTC, as_of=None, **fault):
    return build(FaultSchema().load({"item": "REF"} | OPEN | fault), zone, as_of, name="REF")


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


def test_an_open_end_stays_open_unless_an_instant_is_asked_about():
    assert made(kind="unknown", isolated_at=None).end_us is None
    assert made(as_of=7, kind="unknown", isolated_at=None, last_good_at=None).end_us == 7


def test_a_window_that_ends_before_it_begins_is_refused():
    with pytest.raises(InvalidRecord):
        made(kind="unknown", isolated_at="2024-12-31T23:59:59Z")


CHECK = {
    "id": "K-1",
    "item": "REF",
    "at": "2025-03-15T00:00:00Z",
    "result": "pass",
    "acceptance_limit_rel": "0.0003",
    "U_rel": "0.0001",
    "independent": True,
    "covers": "full range",
}


@pytest.fixture
def window(client):
    """Import REF with a check, and return the window of a fault of 0.0005."""

    def found(*calibrations, fault=None, **check):
        used = cal("C-1", "A", "02-01", [ref("REF")])
        laboratory = lab(used, *calibrations, checks=[CHECK | check])
        if check.get("against") is not None:
            known = {item["id"] for item in laboratory["items"]}
            if check["against"] not in known:
                laboratory["items"].append({"id": check["against"], "kind": "working_standard"})
        assert client.post("/v1/imports", json=laboratory).status_code == 201
        request = {"fault": force_fault("REF") | (fault or {}), "preview": True}
        answer = client.post("/v1/recalls", json=request)
        assert answer.status_code == 200, answer.text
        return json.loads(answer.text)

    return found


def moved(answer) -> bool:
    (considered,) = answer["window"]["checks"]
    assert considered["moves_start"] is (answer["window"]["start"] == "2025-03-15T00:00:00Z")
    assert considered["why"]
    return considered["moves_start"]


def test_a_capable_check_moves_the_start_and_clears_what_came_before(window):
    answer = window()
    assert moved(answer)
    assert [one["certificate"] for one in answer["cleared"]] == ["C-1"]


def test_a_check_against_an_item_that_does_not_rest_on_the_faulty_one_is_independent(window):
    assert moved(window(against="OTHER"))


def test_a_check_against_the_faulty_item_itself_is_not_independent(window):
    assert not moved(window(against="REF"))


def test_a_check_against_what_was_calibrated_with_the_faulty_item_is_not_independent(window):
    assert not moved(window(cal("W-1", "WS", "03-01", [ref("REF")]), against="WS"))


def test_a_check_against_something_two_steps_below_is_not_independent(window):
    below = [cal("W-1", "WS", "03-01", [ref("REF")]), cal("V-1", "VS", "03-05", [ref("WS")])]
    assert not moved(window(*below, against="VS"))


def test_what_the_reference_rests_on_after_the_check_does_not_count(window):
    assert moved(window(cal("W-1", "WS", "04-01", [ref("REF")]), against="WS"))


@pytest.mark.parametrize(
    ("covers", "moves"),
    [(["10 kN"], True), (["9.99 kN"], False), (["2248.1 lbf"], False), (["10000.0 N"], True)],
)
def test_a_check_by_forces_covers_the_range_of_use(window, covers, moves):
    # REF was used at 10 kN only.
    assert moved(window(covers=covers)) is moves


def test_a_check_outside_the_window_is_not_weighed(window):
    assert window(at="2026-03-15T00:00:00Z")["window"]["checks"] == []


def test_a_recalibration_inside_the_window_is_noted_and_ends_nothing(window):
    inside = cal("R-1", "REF", "05-01", [])
    outside = cal("R-2", "REF", "2026-05-01T00:00:00Z", [])
    answer = window(inside, outside)
    (note,) = answer["notes"]
    assert "R-1" in note
    assert answer["window"]["end"] == "2025-12-31T00:00:00Z"
