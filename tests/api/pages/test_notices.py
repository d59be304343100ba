"""Notices: previewed, created, printed, and what became of each."""

from __future__ import annotations

import pytest

NOTICES = "/recalls/1/notices"
RECORDS = "/recalls/1/notices/1/records"
DELIVERED = {"what": "delivery", "party": "Lena Example", "how": "email", "by": "Ida Example"}


def test_notices_are_previewed_without_being_created_then_created_and_printed(visitor, keys):
    fields = {"by": "Ida Example", "wrong": "A reference cell read high."}
    page = visitor.send("/recalls/1/notices", "/recalls/1/notices", **fields, preview="yes").text
    assert "Preview: 9 notices, nothing is created yet" in page
    assert "Corvane Offshore" in page
    assert "A reference cell read high." in page
    assert "0 created" in visitor.get("/recalls/1/notices").text
    answer = visitor.send("/recalls/1/notices", "/recalls/1/notices", **fields)
    assert answer.status_code == 303
    page = visitor.get(answer.headers["Location"]).text
    assert "9 notices created." in page
    listed = visitor.client.get("/v1/recalls/1/notices", headers=keys.headers()).get_json()
    one = listed["items"][0]
    notice = visitor.get(f"/recalls/1/notices/{one['id']}")
    assert one["customer"] in notice.text
    assert "sha256-" in notice.headers["Content-Security-Policy"]
    paper = visitor.get(f"/recalls/1/notices/{one['id']}.pdf")
    assert paper.data.startswith(b"%PDF")
    again = visitor.send("/recalls/1/notices", "/recalls/1/notices", **fields, preview="yes").text
    assert "Every customer concerned has its notice" in again


def test_a_notice_that_cannot_be_made_says_why_beside_the_field(visitor):
    fields = {"by": "Ida Example", "reply_by": "soon"}
    answer = visitor.send("/recalls/1/notices", "/recalls/1/notices", **fields)
    assert answer.status_code == 422
    assert '<a href="#reply_by">Answer by</a>' in answer.text


@pytest.fixture
def noticed(visitor):
    """The first recall with its nine notices."""
    assert visitor.send(NOTICES, NOTICES, by="Ida Example").status_code == 303
    return visitor


def test_what_became_of_a_notice_is_recorded_as_the_api_records_it(noticed, keys):
    assert "Nothing is recorded yet" in noticed.get(RECORDS).text
    assert noticed.send(RECORDS, RECORDS, **DELIVERED).status_code == 303
    assert "1 delivered" in noticed.get(NOTICES).text
    reminded = DELIVERED | {"what": "reminder", "how": "phone", "note": "asked for the stores"}
    assert noticed.send(RECORDS, RECORDS, **reminded).status_code == 303
    answered = DELIVERED | {"what": "acknowledgement", "by": "Tor Example"}
    assert noticed.send(RECORDS, RECORDS, **answered).status_code == 303
    page = noticed.get(NOTICES).text
    assert "1 acknowledged" in page
    listed = noticed.client.get("/v1/recalls/1/notices", headers=keys.headers()).get_json()
    one = listed["items"][0]
    assert [said["to"] for said in one["deliveries"]] == ["Lena Example"]
    assert one["reminders"][0]["note"] == "asked for the stores"
    assert one["acknowledgements"][0]["from"] == "Lena Example"
    page = noticed.get(RECORDS).text
    for said in ("delivered", "reminded", "acknowledged", "Tor Example", "e-mail"):
        assert said in page


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"party": ""}, '<a href="#party">To or from whom</a>: required field is missing'),
        ({"by": ""}, '<a href="#by">Your name</a>'),
        ({"how": "pigeon"}, '<a href="#how">How</a>'),
        ({"at": "2019-01-01"}, '<a href="#at">When</a>: not between the notice and now'),
    ],
)
def test_what_cannot_have_happened_or_lacks_something_is_said_beside_its_field(noticed, sent, said):
    answer = noticed.send(RECORDS, RECORDS, **DELIVERED | sent)
    assert answer.status_code == 422
    assert said in answer.text
    assert "0 delivered" in noticed.get(NOTICES).text


def test_the_same_form_sent_twice_records_once(noticed):
    for _ in range(2):
        assert noticed.send(RECORDS, RECORDS, **DELIVERED, once="one").status_code == 303
    assert noticed.get(RECORDS).text.count('<th scope="row">delivered</th>') == 1


def test_who_may_only_read_sees_what_became_of_a_notice_and_no_form(noticed, signed_in):
    reader = signed_in("read")
    page = reader.get(RECORDS).text
    assert "What became of notice" in page
    assert "Record it" not in page
    token = page.split('name="token" value="')[1].split('"')[0]
    sent = DELIVERED | {"token": token, "once": "x"}
    assert reader.client.post(RECORDS, data=sent).status_code == 403
    assert signed_in("read", customer="Corvane Offshore").get(RECORDS).status_code == 403


def test_a_notice_of_another_recall_is_not_found(noticed):
    assert noticed.get("/recalls/2/notices/1/records").status_code == 404
