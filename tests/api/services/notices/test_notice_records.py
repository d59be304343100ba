"""What became of notices: delivered, reminded, acknowledged; and who has not answered yet."""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref

from api.errors import InvalidRecord
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.schemas.notices import NoticeRequestSchema
from api.services.casework import cases
from api.services.imports.imports import import_laboratory
from api.services.notices import notices
from api.services.notices.notice_records import (
    ACKNOWLEDGEMENT,
    DELIVERY,
    REMINDER,
    answers,
    find,
    record,
)
from api.services.recalls import recalls, run
from api.services.records import laboratory
from api.store.record_changes import position

DAY = 86_400_000_000
NOW = 1_893_456_000_000_000  # 2030-01-01T00:00:00Z
SENT = {"how": "email", "by": "M. Tarn", "to": "office@alder.example"}
HEARD = {"how": "letter", "by": "M. Tarn", "from": "J. Alder"}


class Notices:
    """The notices of one recall to Alder Rigging and Mine Works."""

    def __init__(self, session):
        self.session = session
        self.made = {}

    def create(self, **request):
        case = cases.get(self.session, 1)
        loaded = NoticeRequestSchema().load({"by": "M. Tarn", "reply_by": "2030-01-10"} | request)
        created = notices.create(self.session, case, loaded, NOW).notices
        self.made |= {notice.number: notice for notice in created}

    def record(self, number, kind, now_us=NOW, **sent):
        plain = HEARD if kind == ACKNOWLEDGEMENT else SENT
        record(self.session, self.made[number], kind, plain | sent, now_us)

    def found(self, after=None, limit=10, now_us=NOW, **filters):
        shown, key = find(self.session, 1, filters, after, limit, now_us)
        return [one["number"] for one in shown], key

    def shown(self, number, now_us=NOW):
        (one,) = answers(self.session, [self.made[number]], now_us)
        return one


@pytest.fixture
def sent(database):
    made = lab(
        cal("C-1", "A", "02-01", [ref("REF")], customer="Alder Rigging"),
        cal("C-2", "B", "03-01", [ref("REF")], customer="Mine Works"),
    )
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), NOW)
        laboratory.change(session, {"name": "Invented Laboratory", "contact": "the desk"})
        request = RecallRequestSchema().load({"fault": force_fault()})
        recalls.store(session, run.recall(session, request, NOW), None, NOW, position(session))
        session.flush()
        found = Notices(session)
        found.create()
        yield found


def test_what_is_recorded_is_shown_by_kind_in_its_order(sent):
    sent.record("R-00001-N01", DELIVERY)
    sent.record("R-00001-N01", REMINDER, NOW + 2 * DAY, at="2030-01-02", note="by telephone too")
    sent.record("R-00001-N01", REMINDER, NOW + 3 * DAY)
    shown = sent.shown("R-00001-N01")
    assert shown["deliveries"] == [
        {"at": "2030-01-01T00:00:00Z", "to": "office@alder.example", "how": "email",
         "by": "M. Tarn"}
    ]  # fmt: skip
    assert [one["at"] for one in shown["reminders"]] == ["2030-01-02", "2030-01-04T00:00:00Z"]
    assert shown["reminders"][0]["note"] == "by telephone too"
    assert shown["acknowledgements"] == []
    assert (shown["customer"], shown["acknowledged"]) == ("Alder Rigging", False)
    assert sent.shown("R-00001-N02")["deliveries"] == []


def test_a_notice_is_overdue_after_the_whole_day_to_reply_by_unless_it_was_acknowledged(sent):
    # The bare date 2030-01-10 includes that day.
    assert not sent.shown("R-00001-N01", NOW + 10 * DAY - 1)["overdue"]
    assert sent.shown("R-00001-N01", NOW + 10 * DAY)["overdue"]
    sent.record("R-00001-N01", ACKNOWLEDGEMENT)
    shown = sent.shown("R-00001-N01", NOW + 10 * DAY)
    assert (shown["acknowledged"], shown["overdue"]) == (True, False)
    assert shown["acknowledgements"][0]["from"] == "J. Alder"


def test_who_has_not_answered_is_found_until_an_answer_or_a_later_notice(sent):
    assert sent.found(acknowledged=False)[0] == ["R-00001-N01", "R-00001-N02"]
    sent.record("R-00001-N01", DELIVERY)  # a delivery is no answer
    sent.record("R-00001-N02", ACKNOWLEDGEMENT)
    assert sent.found(acknowledged=False)[0] == ["R-00001-N01"]
    assert sent.found(acknowledged=True)[0] == ["R-00001-N02"]
    sent.create(replace=True, customers=["Alder Rigging"])
    assert sent.found(acknowledged=False)[0] == ["R-00001-N03"]
    assert sent.shown("R-00001-N03")["replaces"] == "R-00001-N01"


def test_notices_come_page_by_page_and_of_one_customer(sent):
    first, key = sent.found(limit=1)
    assert (first, key is None) == (["R-00001-N01"], False)
    assert sent.found(key, limit=1) == (["R-00001-N02"], None)
    assert sent.found(customer="Mine Works")[0] == ["R-00001-N02"]
    assert sent.found(customer="Nobody")[0] == []


@pytest.mark.parametrize("at", ["2029-12-31", "2029-12-31T23:59:59Z", "2030-01-01T00:00:01Z",
                                "2030-01-02"])  # fmt: skip
def test_nothing_happens_to_a_notice_before_it_exists_or_in_the_future(sent, at):
    with pytest.raises(InvalidRecord) as refused:
        sent.record("R-00001-N01", DELIVERY, at=at)
    (issue,) = refused.value.issues
    assert (issue.pointer, issue.value) == ("/at", at)
    assert "2030-01-01" in issue.remedy
    assert sent.shown("R-00001-N01")["deliveries"] == []


def test_the_day_of_the_notice_itself_is_not_too_early(sent):
    sent.record("R-00001-N01", DELIVERY, NOW + 3600, at="2030-01-01")
    assert sent.shown("R-00001-N01")["deliveries"][0]["at"] == "2030-01-01"


def test_nothing_asked_is_nothing_answered(sent):
    assert answers(sent.session, [], NOW) == []
