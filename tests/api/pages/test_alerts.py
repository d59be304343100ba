"""Alerts on pages: listed, with the drafted fault one click away, and answered.

In the invented laboratory REF-500A failed check CHK-006 and then as found in OIF/25-0311, and pin
PIN-22A failed an inspection (`fixtures/demo_lab`).
"""

from __future__ import annotations

import re
from html import unescape

from oracle_cases import answered, cal

SAID = {"by": "Quinn Assessor"}


def test_the_start_counts_the_open_alerts_and_names_the_first(visitor):
    page = visitor.get("/").text
    assert "Alerts open: 3" in page
    assert "REF-500A failed as found in certificate OIF/25-0311" in page
    assert 'href="/alerts/3"' in page


def test_the_list_is_filtered_as_over_the_api(visitor):
    page = visitor.get("/alerts?kind=check").text
    assert "2 alerts, in the order raised" in page
    assert "PIN-22A failed check CHK-016 (inspection)" in page
    assert "OIF/25-0311" not in page
    assert "None." in visitor.get("/alerts?state=answered").text
    refused = visitor.get("/alerts?failed_before=yesterday")
    assert refused.status_code == 422
    assert "to mend" in refused.text


def test_an_alert_says_what_lies_around_it_and_speaks_the_caution(visitor):
    page = unescape(visitor.get("/alerts/1").text)
    assert "it clears nothing that was measured before the failure" in page
    assert "Alert 2" in page  # nothing good lies between the check and the calibration
    assert "R-00001 would answer it: of this item" in re.sub(r"<[^>]+>", "", page)
    assert "Stay within the rated capacity of the weakest part" in page
    assert visitor.get("/alerts/99").status_code == 404


def test_the_drafted_fault_is_one_click_away_and_answers_its_alert_when_it_is_stored(visitor):
    form = unescape(visitor.get("/recalls/new?alert=1").text)
    # More ranges of force than the table of an empty form has; the last one begins at 450 kN.
    ranges = re.findall(r'name="segment-\d+-above" value="(\d+)"', form)
    assert len(ranges) > 5
    assert ranges[-1] == "450"
    fields = {
        name: value
        for name, value in re.findall(r'name="([^"]+)" value="([^"]*)"', form)
        if name not in ("token", "once", "another")
    }
    assert fields["alert"] == "1"
    sent = fields | {"kind": "true_force_relative_error", "store": "yes"}
    stored = visitor.send("/recalls/new?alert=1", "/recalls/new", **sent)
    assert stored.status_code == 303, stored.text
    number = re.search(r"recall=(R-\d+)", stored.location)[1]
    assert f'value="{number}"' in visitor.get(stored.location).text
    answer = SAID | {"recall": number, "together": "on"}
    done = visitor.send(stored.location, "/alerts/1/answers", **answer)
    assert done.location == "/alerts/1"
    for alert in (1, 2):
        assert "answered" in visitor.get(f"/alerts/{alert}").text
    assert "Alerts open: 1" in visitor.get("/").text


def test_a_recall_that_is_not_there_and_an_answer_without_reason_are_refused(visitor):
    for answer in ({"recall": "R-99999"}, {}):
        refused = visitor.send("/alerts/3", "/alerts/3/answers", **SAID | answer)
        assert refused.status_code in (400, 422)
    assert "Alerts open: 3" in visitor.get("/").text


def test_all_that_the_list_shows_are_answered_by_who_writes_how_many_they_are(visitor):
    answer = SAID | {"item": "REF-500A", "reason": "R-00001 covers it"}
    address = "/alerts?item=REF-500A"
    unsaid = visitor.send(address, "/alerts/answers", **answer)
    assert "Write how many alerts are meant" in unsaid.text
    other = visitor.send(address, "/alerts/answers", **answer, count="3")
    assert other.status_code == 409
    done = visitor.send(address, "/alerts/answers", **answer, count="2")
    assert "2 alerts answered" in visitor.get(done.location).text


def test_an_overdue_use_shows_the_certificates_that_it_is_in(visitor, client):
    use = {"item": "WS-101", "role": "force_reference"}
    late = answered(cal("MV-26-0900", "TL-01", "2026-10-02T10:00:00Z", [use]))
    assert client.post("/v1/calibrations", json=late).status_code == 201
    (one,) = client.get("/v1/alerts?kind=overdue_use").get_json()["items"]
    page = visitor.get(f"/alerts/{one['id']}").text
    assert "MV-26-0900" in page
    assert "WS-101 was used once after certificate MV-25-0152 was due" in page


def test_persons_who_are_kept_are_offered_and_one_of_them_is_kept_by_name(visitor, keys):
    assert "persons-kept" not in visitor.get("/alerts/1").text
    ada = {"id": "a.quill", "name": "Ada Quill", "office": "quality manager"}
    made = visitor.client.post("/v1/persons", json=ada, headers=keys.headers())
    assert made.status_code == 201, made.text
    page = visitor.get("/alerts/1").text
    assert 'list="persons-kept"' in page
    assert '<option value="a.quill">Ada Quill, quality manager</option>' in page
    form = {"by": "a.quill", "reason": "looked into"}
    assert visitor.send("/alerts/1", "/alerts/1/answers", **form).status_code == 303
    assert "Ada Quill, " in visitor.get("/alerts/1").text.split("<h2>Answers</h2>")[1]
