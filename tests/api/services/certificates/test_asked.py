"""What a laboratory asks of its certificates, at every way to the status issued.

The fields are those of ISO/IEC 17025:2017, 7.8.2 and 7.8.4 (from memory).
"""

from __future__ import annotations

import pytest

from tests.flow import MEASURED, measure, recorded, refused

ASKED = ["place", "conditions", "received_at", "order", "performed_by", "authorised_by"]
SAID = {
    "place": "Hall 2",
    "conditions": "20.3 °C ± 0.5 K\n45 % relative humidity",
    "received_at": "2026-02-27",
    "order": "PO-4711",
    "performed_by": "S. Holm",
    "authorised_by": "R. Fenn",
}
DAY = {"performed_at": "2026-03-02T09:00:00Z"}
FULL = MEASURED | DAY | SAID


@pytest.fixture
def bench(client, once):
    """The laboratory with a set-up check, runs and a budget."""
    once(measure)
    return client


def ask(bench, *names):
    tag = bench.get("/v1/laboratory").headers["ETag"]
    sent = {"asked_at_issue": list(names)}
    answer = bench.patch("/v1/laboratory", json=sent, headers={"If-Match": tag})
    assert answer.status_code == 200, answer.text
    assert answer.get_json()["asked_at_issue"] == sorted(names)


def missing(faults):
    return sorted(pointer.removeprefix("/") for pointer, _ in faults)


def test_what_stands_on_the_paper_comes_back_as_it_was_sent(bench):
    made = recorded(bench, "calibrations", FULL)
    assert {name: made[name] for name in SAID} == SAID


def test_nothing_is_asked_unless_the_laboratory_says_so(bench):
    assert bench.get("/v1/laboratory").get_json()["asked_at_issue"] == []
    recorded(bench, "calibrations", MEASURED | DAY)


def test_each_missing_field_is_named_with_its_remedy(bench):
    ask(bench, *ASKED)
    found = refused(bench, MEASURED | DAY | {"place": "Hall 2"})
    assert missing(found) == sorted(set(ASKED) - {"place"})
    assert found[0][1] == "authorised_by is missing; this laboratory asks for it at issue"
    assert bench.get("/v1/certificates/K-1").status_code == 404
    recorded(bench, "calibrations", FULL)


def test_a_draft_is_asked_when_it_is_issued_and_may_say_the_rest_then(bench):
    ask(bench, *ASKED)
    recorded(bench, "calibrations", MEASURED | DAY | {"status": "draft", "place": "Hall 2"})
    at = {"issued_at": "2026-03-04T10:00:00Z"}
    found = refused(bench, at | {"order": "PO-4711"}, "certificates/K-1/issue")
    assert missing(found) == ["authorised_by", "conditions", "performed_by", "received_at"]
    draft = bench.get("/v1/certificates/K-1").get_json()
    assert (draft["status"], "order" in draft) == ("draft", False)
    made = recorded(bench, "certificates/K-1/issue", at | SAID, 200)
    assert {name: made[name] for name in SAID} == SAID


def test_an_issue_does_not_say_otherwise_than_the_draft(bench):
    recorded(bench, "calibrations", FULL | {"status": "draft"})
    sent = {"issued_at": "2026-03-04T10:00:00Z", "place": "Hall 3", "order": "PO-4711"}
    assert refused(bench, sent, "certificates/K-1/issue") == [("/place", 'the draft says "Hall 2"')]


def test_a_revision_is_asked_too(bench):
    recorded(bench, "calibrations", FULL)
    ask(bench, "method")
    sent = FULL | {"revision": 1, "amendment": "method named"}
    assert missing(refused(bench, sent, "certificates/K-1/revisions")) == ["method"]
    recorded(bench, "certificates/K-1/revisions", sent | {"method": "M-1"})


def test_history_and_certificates_of_others_are_not_asked(bench):
    ask(bench, *ASKED)
    recorded(bench, "imports", {"calibrations": [MEASURED | DAY]})
    theirs = {"certificate": "N-9", "external": True, "issuer": "Institute"}
    recorded(bench, "calibrations", MEASURED | DAY | theirs)


@pytest.mark.parametrize("name", ["customer", "method", "mode"])
def test_other_fields_may_be_asked_for(bench, name):
    ask(bench, name)
    assert missing(refused(bench, MEASURED | DAY)) == [name]
    sent = {"customer": "Quill Hire", "method": "M-1", "mode": "tension"}
    recorded(bench, "calibrations", MEASURED | DAY | sent)


def test_what_it_was_measured_in_may_be_asked_for(bench):
    ask(bench, "set_up_check", "run_evaluation", "budget")
    names = ["budget", "run_evaluation", "set_up_check"]
    assert missing(refused(bench, MEASURED | DAY)) == names
    assert missing(refused(bench, MEASURED | DAY | {"set_up_check": 1})) == names[:2]
    half = [{"point": 1, "run_evaluation": 1}, {"point": 2, "applied": "50", "unit": "kN"}]
    assert missing(refused(bench, MEASURED | DAY | {"results": half})) == names
    # The runs of the budget and their set-up come with it.
    recorded(bench, "calibrations", MEASURED | {"budget": "UB-1"})


def test_a_field_that_nobody_can_ask_for_is_refused(bench):
    tag = bench.get("/v1/laboratory").headers["ETag"]
    sent = {"asked_at_issue": ["weather"]}
    answer = bench.patch("/v1/laboratory", json=sent, headers={"If-Match": tag})
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == "/asked_at_issue/0"


def test_who_authorises_is_a_recorded_person_where_persons_are_kept(bench):
    recorded(bench, "persons", {"id": "fenn", "name": "R. Fenn", "office": "head of laboratory"})
    assert refused(bench, FULL) == [("/authorised_by", 'person "R. Fenn" is not recorded')]
    recorded(bench, "calibrations", FULL | {"status": "draft", "authorised_by": "fenn"})
    tag = bench.get("/v1/persons/fenn").headers["ETag"]
    bench.patch("/v1/persons/fenn", json={"active": False}, headers={"If-Match": tag})
    sent = {"issued_at": "2026-03-04T10:00:00Z"}
    assert refused(bench, sent, "certificates/K-1/issue") == [
        ("/authorised_by", 'person "fenn" is not active any more')
    ]
    recorded(bench, "imports", {"calibrations": [FULL | {"certificate": "K-2"}]})


def test_an_item_is_received_before_it_is_calibrated(bench):
    assert refused(bench, FULL | {"received_at": "2026-03-03"}) == [
        ("/received_at", "received after the calibration")
    ]
    recorded(bench, "calibrations", FULL | {"received_at": "2026-03-02"})


def test_runs_and_a_set_up_after_the_issue_are_refused(bench):
    early = {"budget": "UB-1", "issued_at": "2026-03-02T07:00:00Z"} | DAY
    early |= {"performed_at": "2026-03-02"}
    at = "2026-03-02T09:00:00Z"
    assert refused(bench, MEASURED | early) == [
        ("/issued_at", f"run evaluation 1 is of {at}, after it"),
        ("/issued_at", "set-up check 1 is of 2026-03-02T08:00:00Z, after it"),
    ]
    recorded(bench, "calibrations", MEASURED | early | {"status": "draft"})
    same = refused(bench, {"issued_at": "2026-03-02T08:30:00Z"}, "certificates/K-1/issue")
    assert same == [("/issued_at", f"run evaluation 1 is of {at}, after it")]
    recorded(bench, "certificates/K-1/issue", {"issued_at": "2026-03-02"}, 200)


def test_a_customer_sees_what_stands_on_the_paper_and_not_what_it_was_measured_in(bench, keys):
    recorded(bench, "calibrations", FULL | {"customer": "Quill Hire", "budget": "UB-1"})
    headers = keys.headers("read", customer="Quill Hire")
    shown = bench.get("/v1/certificates/K-1", headers=headers).get_json()
    assert {name: shown[name] for name in SAID} == SAID
    assert not shown.keys() & {"measured_in", "budget", "run_evaluation", "set_up_check"}
    assert not shown["results"][0].keys() & {"taken", "budget", "run_evaluation", "set_up_check"}
