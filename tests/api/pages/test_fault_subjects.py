"""A fault of a certificate or of a method, and several faults at once."""

from __future__ import annotations

import json
from html import unescape
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import pytest

from api.pages.fault_form import body_of, put_aside, said, taken_up
from api.schemas.faults import RecallRequestSchema
from api.services.overview import fault_subjects
from tests.browser.site import DEMO

STORY = json.loads(DEMO.joinpath("story.json").read_bytes())
PHOENIX = ZoneInfo("America/Phoenix")
EFFECT = {"kind": "true_force_relative_error", "delta_rel": "-0.07", "U_delta_k": "2"}
CERTIFICATE = {"certificate": "MV-25-0052", "revision": "0"}
METHOD = {"method": "FP-02 edition 4"}
ITEM = {
    "item": "REF-500A",
    "last_good_at": "2024-09-16 10:00",
    "isolated_at": "2025-09-11 16:00",
}
API = {
    "certificate": {"certificate": "MV-25-0052", "revision": 0},
    "method": METHOD,
}


def form_of(subject: dict[str, str]) -> str:
    named = {
        name: subject[name]
        for name in ("item", "certificate", "revision", "method")
        if name in subject
    }
    return f"/recalls/new?{urlencode(named)}"


def preview(visitor, keys, *faults) -> dict:
    sent = {"faults": list(faults)} if len(faults) > 1 else {"fault": faults[0]}
    headers = keys.headers()
    answer = visitor.client.post("/v1/recalls", json=sent | {"preview": True}, headers=headers)
    assert answer.status_code == 200, answer.text
    return answer.get_json()


@pytest.mark.parametrize("subject", [CERTIFICATE, METHOD], ids=["certificate", "method"])
def test_the_preview_of_a_certificate_or_method_is_that_of_the_api(visitor, keys, subject):
    page = unescape(visitor.send(form_of(subject), "/recalls/new", **subject | EFFECT).text)
    fault = API[next(iter(subject))] | {"kind": EFFECT["kind"], "delta_rel": "-0.0007"}
    summary = preview(visitor, keys, fault)["summary"]
    assert summary["affected"] > 0
    assert f"{summary['affected']} certificates are affected" in page
    assert f"Verdicts that change: {summary['verdict_changes']}" in page
    assert "whenever it was" in page


def test_of_a_certificate_the_time_of_its_value_and_its_users_are_drawn(visitor):
    page = unescape(visitor.get(form_of(CERTIFICATE)).text)
    # WS-101 was calibrated again in September 2025.
    assert "Its value was in force from" in page
    assert "2025-04-08 10:05" in page
    assert "2025-09-18 09:45" in page
    assert "Took its value" in page
    assert "12 calibrations took a value from it" in page
    assert "the window of this fault" in page  # shaded on the line
    assert "Only within a part of that time" in page


def test_of_a_method_the_calibrations_that_recorded_it_are_drawn(visitor):
    page = unescape(visitor.get(form_of(METHOD)).text)
    assert "35 calibrations recorded this method" in page
    assert "Recorded it" in page
    assert 'value="readout_gain"' not in page
    assert 'value="readout_gain"' in visitor.get(form_of(ITEM)).text


def test_a_part_of_the_time_can_be_said_for_a_method(visitor, keys):
    times = {"last_good_at": "2025-01-01", "isolated_at": "2025-06-30"}
    page = visitor.send(form_of(METHOD), "/recalls/new", **METHOD | EFFECT | times).text
    fault = METHOD | {"kind": EFFECT["kind"], "delta_rel": "-0.0007"} | times
    found = preview(visitor, keys, fault)
    assert f"{found['summary']['affected']} certificates are affected" in page


def test_the_recall_of_a_certificate_says_what_was_wrong(visitor):
    sent = CERTIFICATE | EFFECT | {"store": "yes"}
    answer = visitor.send(form_of(CERTIFICATE), "/recalls/new", **sent)
    assert answer.headers["Location"] == "/recalls/3"
    page = visitor.get("/recalls/3").text
    assert "Recall R-00003: MV-25-0052" in page
    assert "every use that took its value from this certificate" in page
    assert "keeps no item out of use" in page
    assert "R-00003" in visitor.get("/").text
    again = visitor.get(form_of(CERTIFICATE)).text
    assert '<option value="3">R-00003</option>' in again


def test_several_faults_are_put_aside_one_after_the_other_and_stored_at_once(visitor, keys):
    page = visitor.send(form_of(ITEM), "/recalls/new", **ITEM | EFFECT, another="yes").text
    assert "what else is wrong?" in page
    aside = put_aside(ITEM | EFFECT)
    assert f'name="aside" value="{aside}"'.replace("&", "&amp;") in page
    found = visitor.send(form_of(ITEM), "/recalls/new", aside=aside, q="FP-02").text
    assert 'name="choose" value="method=FP-02+edition+4"' in found
    form = visitor.send(form_of(ITEM), "/recalls/new", aside=aside, choose=urlencode(METHOD)).text
    assert "Reported together with" in form
    assert "the true force was not the recorded one, -0.07 %, from 2024-09-16 10:00" in form
    sent = METHOD | EFFECT | {"aside": aside}
    shown = unescape(visitor.send(form_of(METHOD), "/recalls/new", **sent).text)
    one = STORY["fault"].copy()
    for name in ("meaning", "discovered_at", "U_delta_rel"):
        del one[name]
    two = METHOD | {"kind": EFFECT["kind"], "delta_rel": "-0.0007", "U_delta_k": "2"}
    summary = preview(visitor, keys, one, two)["summary"]
    assert f"{summary['affected']} certificates are affected" in shown
    assert "REF-500A: from" in shown
    answer = visitor.send(form_of(METHOD), "/recalls/new", **sent, store="yes")
    assert answer.headers["Location"] == "/recalls/3"
    page = visitor.get("/recalls/3").text
    assert "Recall R-00003: REF-500A, FP-02 edition 4" in page


def test_a_fault_put_aside_is_left_out_again(visitor):
    aside = [put_aside(ITEM | EFFECT), put_aside(CERTIFICATE | EFFECT)]
    sent = METHOD | EFFECT | {"aside": aside, "drop": "0"}
    page = visitor.send(form_of(METHOD), "/recalls/new", **sent).text
    together = page.split("Reported together with")[1].split("</fieldset>")[0]
    assert "MV-25-0052" in together
    assert "REF-500A" not in together


def test_a_fault_that_is_not_complete_is_not_put_aside(visitor):
    sent = ITEM | EFFECT | {"delta_rel": "", "another": "yes"}
    answer = visitor.send(form_of(ITEM), "/recalls/new", **sent)
    assert answer.status_code == 422
    assert '<a href="#delta_rel">' in answer.text


def test_what_is_wrong_in_the_last_of_several_is_said_beside_its_field(visitor):
    sent = ITEM | EFFECT | {"aside": put_aside(METHOD | EFFECT), "delta_rel": "a little"}
    answer = visitor.send(form_of(ITEM), "/recalls/new", **sent)
    assert '<a href="#delta_rel">Error of the true force</a>: not a decimal number' in answer.text


def test_a_form_that_names_nothing_faulty_is_refused_in_words(visitor):
    answer = visitor.send(form_of(ITEM), "/recalls/new", **EFFECT)
    assert answer.status_code == 422
    assert "does not say what is faulty" in answer.text


def test_fields_put_aside_come_back_as_they_were_and_nothing_else_does():
    entered = ITEM | EFFECT | {"meaning": "50 % & more;\nä", "segment-0-delta": "0.1"}
    assert taken_up(put_aside(entered | {"token": "x", "store": "yes"})) == entered
    assert taken_up("store=yes&item=A") == {"item": "A"}


def test_several_faults_are_the_list_that_the_api_takes():
    loaded = RecallRequestSchema().load(body_of(METHOD | EFFECT, PHOENIX, [ITEM | EFFECT]))
    assert [one.get("item") or one["method"] for one in loaded["faults"]] == [
        "REF-500A",
        "FP-02 edition 4",
    ]
    assert "isolated_at" not in loaded["faults"][1]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (
            ITEM | EFFECT,
            "the true force was not the recorded one, -0.07 %, from 2024-09-16 10:00 "
            "to 2025-09-11 16:00",
        ),
        ({"kind": "unknown"}, "nobody can say yet"),
        (
            {"kind": "wrong_correction_factor", "entered_at": "2025-01-01"},
            "a wrong correction factor was applied, from 2025-01-01",
        ),
    ],
)
def test_a_fault_is_told_in_a_few_words(fields, words):
    assert said(fields) == words


def test_a_method_used_often_is_told_in_stretches_that_count_all(database, monkeypatch):
    monkeypatch.setattr(fault_subjects, "STRETCHES", 10)
    with database.read() as session:
        found = fault_subjects.of_method(session, "FP-11 edition 2")
    uses = found["history"]["uses"]
    assert len(uses) <= 10
    assert sum(one["many"] for one in uses) == found["use_count"] == 365
    assert [one["at_us"] for one in uses] == sorted(one["at_us"] for one in uses)
