"""Reporting a fault: search, window, preview, and storing what the API would store."""

from __future__ import annotations

import json
from decimal import Decimal
from html import unescape
from zoneinfo import ZoneInfo

import pytest

from api.pages.fault_form import KINDS, body_of, in_zone, on_the_clock, share
from api.schemas.faults import NEEDS, FaultSchema
from tests.browser.site import DEMO

STORY = json.loads(DEMO.joinpath("story.json").read_bytes())
PHOENIX = ZoneInfo("America/Phoenix")
FIRST = {
    "item": "REF-500A",
    "kind": "true_force_relative_error",
    "delta_rel": "-0.07",
    "U_delta_rel": "0.02",
    "U_delta_k": "2",
    "last_good_at": "2024-09-16 10:00",
    "isolated_at": "2025-09-11 16:00",
}
FORM = "/recalls/new?item=REF-500A"


def test_items_certificates_and_methods_are_found_by_a_part_of_their_name(visitor):
    page = visitor.get("/recalls/new?q=ref-500").text
    assert 'href="/recalls/new?item=REF-500A"' in page
    assert 'href="/recalls/new?item=REF-500B"' in page
    page = unescape(visitor.get("/recalls/new?q=25-0052").text)
    assert 'href="/recalls/new?certificate=MV-25-0052&revision=0&issuer="' in page
    page = visitor.get("/recalls/new?q=fp-02").text
    assert 'href="/recalls/new?method=FP-02+edition+4"' in page
    assert "No record" in visitor.get("/recalls/new?q=nothing-like-it").text


@pytest.mark.parametrize("subject", ["item=NOSUCH", "certificate=NOSUCH", "method=NOSUCH"])
def test_of_what_is_not_recorded_no_fault_can_be_reported(visitor, subject):
    assert visitor.get(f"/recalls/new?{subject}").status_code == 404


def test_the_form_begins_with_the_last_calibration_as_good_evidence(visitor):
    page = visitor.get(FORM).text
    assert 'name="last_good_at" value="2025-10-21 09:00"' in page
    assert "to mend" not in page
    for kind in KINDS:
        assert kind.label in page


def test_the_preview_says_what_the_fault_would_reach_and_stores_nothing(visitor, keys):
    page = unescape(visitor.send(FORM, "/recalls/new", **FIRST, preview="yes").text)
    expected = STORY["fault_expected"]
    assert (
        f"{expected['affected']} certificates are affected and 9 customers concerned; a statement "
        f"of conformity changes on {expected['certificates_with_verdict_changes']}" in page
    )
    assert "Verdicts that change: 9" in page
    assert "Customers concerned: 9" in page
    listed = visitor.client.get("/v1/recalls", headers=keys.headers()).get_json()
    assert len(listed["items"]) == 2


def test_the_window_shows_the_check_that_narrows_it_and_why_the_others_do_not(visitor):
    page = unescape(visitor.send(FORM, "/recalls/new", **FIRST, preview="yes").text)
    assert "with the window of the fault" in page
    assert "CHK-003 pass, 2025-03-03, narrows the window" in page
    assert "independent, capable and passed" in page
    assert "limit and uncertainty together are not below the smallest fault" in page
    assert "not independent of the faulty item" in page
    assert "failed: the fault was present" in page


def test_a_script_gets_the_preview_alone_and_it_is_noted_like_one_of_the_api(visitor, database):
    from sqlalchemy import select

    from api.store.journal import JournalLine

    shown = visitor.get(FORM).text
    token = shown.split('name="token" value="')[1].split('"')[0]
    answer = visitor.client.post(
        "/recalls/new", data=FIRST | {"token": token}, headers={"Tracehold-Part": "yes"}
    )
    assert "40 certificates are affected" in answer.text
    assert "<form" not in answer.text
    with database.read() as session:
        last = session.scalars(select(JournalLine).order_by(JournalLine.position.desc())).first()
    assert "recall preview" in last.body


def test_what_is_stored_is_what_the_api_stores(visitor, keys):
    answer = visitor.send(FORM, "/recalls/new", **FIRST, store="yes", once="one")
    again = visitor.send(FORM, "/recalls/new", **FIRST, store="yes", once="one")
    assert answer.status_code == 303
    assert answer.headers["Location"] == again.headers["Location"] == "/recalls/3"
    headers = keys.headers()
    stored = visitor.client.get("/v1/recalls/3", headers=headers).get_json()
    first = visitor.client.get("/v1/recalls/1", headers=headers).get_json()
    assert stored["result_hash"] == first["result_hash"]
    assert visitor.client.get("/v1/recalls/4", headers=headers).status_code == 404


def test_a_second_look_names_the_first(visitor, keys):
    assert '<option value="1">R-00001</option>' in visitor.get(FORM).text
    answer = visitor.send(FORM, "/recalls/new", **FIRST, previous="1", store="yes")
    assert answer.status_code == 303
    stored = visitor.client.get("/v1/recalls/3", headers=keys.headers()).get_json()
    assert stored["previous"] == 1


def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_stored(visitor, keys):
    sent = FIRST | {"delta_rel": "a little", "isolated_at": "2023-01-01"}
    answer = visitor.send(FORM, "/recalls/new", **sent, store="yes")
    assert answer.status_code == 422
    assert '<a href="#delta_rel">Error of the true force</a>: not a decimal number' in answer.text
    assert 'value="a little"' in answer.text
    answer = visitor.send(FORM, "/recalls/new", **sent | {"delta_rel": "-0.07"}, store="yes")
    assert '<a href="#isolated_at">Taken out of use</a>: comes before last_good_at' in answer.text
    listed = visitor.client.get("/v1/recalls", headers=keys.headers()).get_json()
    assert len(listed["items"]) == 2


ENTERED = {
    "true_force_relative_error": {"delta_rel": "-0.07"},
    "indicates_high": {"indication_rel": "0.07"},
    "wrong_correction_factor": {
        **{"factor_applied": "1.0002", "factor_right": "1.0005"},
        **{"entered_at": "2025-01-01", "fixed_at": "2025-02-01"},
    },
    "indication_effect_by_type": {"effect-0-type": "tension link", "effect-0-pct": "-0.12"},
    "readout_gain": {"gain": "1.0004"},
    "interval": {"bound_rel": "0.1"},
    "linear_drift": {
        **{"delta_rel": "-0.07", "last_good_at": "2024-09-16"},
        "measured_at": "2025-09-11",
    },
    "understated_uncertainty": {"U_rel_recorded": "0.02", "U_rel_right": "0.06", "k_right": "3"},
    "true_force_offset": {"delta_force": "-2.5", "unit": "N", "U_delta_force": "0.4"},
    "wrong_curve": {
        **{"coefficients_recorded": "0 100", "coefficients_right": "0; 100.2; −0.05"},
        **{"of": "force", "range_from": "10", "range_to": "500", "unit": "kN"},
    },
    "unknown": {},
}
EXACT = {
    "true_force_relative_error": {"delta_rel": Decimal("-0.0007")},
    "indicates_high": {"indication_rel": Decimal("0.0007")},
    "wrong_correction_factor": {"factor_right": Decimal("1.0005")},
    "indication_effect_by_type": {"effect_rel": {"tension_link": Decimal("-0.0012")}},
    "readout_gain": {"gain": Decimal("1.0004")},
    "interval": {"bound_rel": Decimal("0.001")},
    "linear_drift": {"delta_rel": Decimal("-0.0007"), "measured_at": "2025-09-11"},
    "understated_uncertainty": {"U_rel_right": Decimal("0.0006"), "k_right": Decimal(3)},
    "true_force_offset": {"delta_force": Decimal("-2.5"), "U_delta_force": Decimal("0.4")},
    "wrong_curve": {
        "coefficients_right": [Decimal(0), Decimal("100.2"), Decimal("-0.05")],
        **{"of": "force", "range": {"from": Decimal(10), "to": Decimal(500)}},
    },
    "unknown": {},
}


@pytest.mark.parametrize("kind", list(NEEDS))
def test_every_kind_of_fault_can_be_entered_whatever_else_the_form_holds(kind):
    everything = {name: text for one in ENTERED.values() for name, text in one.items()}
    sent = everything | ENTERED[kind] | {"kind": kind, "item": "REF-500A"}
    loaded = FaultSchema().load(body_of(sent, PHOENIX)["fault"])
    assert EXACT[kind].items() <= loaded.items()


@pytest.mark.parametrize("kind", list(NEEDS))
def test_every_kind_of_fault_has_a_preview(visitor, kind):
    sent = ENTERED[kind] | {"kind": kind, "item": "REF-500A"}
    page = visitor.send(FORM, "/recalls/new", **sent).text
    assert "Preview, nothing is stored" in page


def test_ranges_of_force_take_the_place_of_one_error():
    sent = {
        **{"kind": "true_force_relative_error", "item": "REF-500A"},
        **{"segment-0-up_to": "100", "segment-0-delta": "0"},
        **{"segment-1-above": "100", "segment-1-delta": "0.05"},
    }
    loaded = FaultSchema().load(body_of(sent, PHOENIX)["fault"])
    assert loaded["segments"] == [
        {"above_kN": None, "up_to_kN": Decimal("100"), "delta_rel": Decimal("0.00")},
        {"above_kN": Decimal("100"), "up_to_kN": None, "delta_rel": Decimal("0.0005")},
    ]


@pytest.mark.parametrize(
    ("percent", "exact"), [("0.07", "0.0007"), ("−0.07 %", "-0.0007"), ("1e-3", "0.00001")]
)
def test_percent_become_shares_exactly(percent, exact):
    assert share(percent) == exact


def test_a_time_of_day_is_one_of_the_laboratory_s_clock():
    assert in_zone("2025-09-11T16:00", PHOENIX) == "2025-09-11T16:00:00-07:00"
    assert in_zone("2025-09-11", PHOENIX) == "2025-09-11"
    assert in_zone("2025-09-11T16:00:00Z", PHOENIX) == "2025-09-11T16:00:00Z"
    assert in_zone("2025-19-11 16:00", PHOENIX) == "2025-19-11 16:00"
    assert on_the_clock("2025-10-21T18:00:00+02:00", PHOENIX) == "2025-10-21 09:00"
