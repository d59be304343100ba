"""May a certificate be relied on: recalled, under review or neither, the gravest of all recalls."""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.casework import cases, dispositions
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.services.recalls.recall_states import recall_states
from api.store.record_changes import position
from api.store.tables import Certificate

LATER = 1_893_456_000_000_000  # 2030
# X only confirmed limits, so that what was calibrated with it is exposed without effect.
LABORATORY = lab(
    cal("F-1", "A", "02-01", [ref("REF")]),
    cal("F-2", "B", "03-01", [ref("REF")]),
    cal("X-1", "X", "03-10", [ref("REF")], assigns_value=False),
    cal("E-1", "E", "04-01", [ref("X")]),
    cal("N-1", "N", "05-01", [ref("OTHER")]),
)
UNKNOWN = {"item": "REF", "kind": "unknown"} | OPEN
LATE_START = {"last_good_at": "2025-02-15T00:00:00Z"}  # clears F-1


class Laboratory:
    """A laboratory whose recalls are stored and decided on."""

    def __init__(self, session):
        self.session = session
        self.keys = dict(session.execute(select(Certificate.number, Certificate.id)).all())

    def report(self, fault, previous=None):
        request = RecallRequestSchema().load({"fault": fault})
        answer = run.recall(self.session, request, LATER)
        return recalls.store(self.session, answer, previous, LATER, position(self.session))["id"]

    def decide(self, recall, number, action):
        case = cases.get(self.session, recall)
        command = {"certificates": [{"certificate": number}], "action": action, "by": "M. Tarn"}
        assert dispositions.record(self.session, case, command, LATER) == 1

    def states(self):
        found = recall_states(self.session, self.keys.values())
        return {number: found[key] for number, key in self.keys.items()}

    def state(self, number):
        return self.states()[number]


@pytest.fixture
def laboratory(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield Laboratory(session)


def test_before_any_recall_everything_may_be_relied_on(laboratory):
    assert set(laboratory.states().values()) == {"none"}
    assert recall_states(laboratory.session, []) == {}


def test_affected_is_recalled_at_once_and_exposed_or_not_listed_is_not(laboratory):
    laboratory.report(force_fault())
    assert laboratory.states() == {
        "F-1": "recalled", "F-2": "recalled", "X-1": "recalled", "E-1": "none", "N-1": "none"
    }  # fmt: skip


def test_what_cannot_be_judged_is_under_review(laboratory):
    laboratory.report(UNKNOWN)
    assert laboratory.state("F-1") == "under_review"


@pytest.mark.parametrize("action", ["withdraw", "reissue", "recalibrate_free"])
def test_any_action_recalls_whatever_the_list(laboratory, action):
    recall = laboratory.report(force_fault())
    laboratory.decide(recall, "E-1", action)
    laboratory.decide(recall, "F-1", action)
    assert laboratory.state("E-1") == laboratory.state("F-1") == "recalled"


def test_no_action_frees_and_the_latest_disposition_counts(laboratory):
    recall = laboratory.report(force_fault())
    laboratory.decide(recall, "F-1", "no_action")
    assert laboratory.state("F-1") == "none"
    assert laboratory.state("F-2") == "recalled"
    laboratory.decide(recall, "F-1", "withdraw")
    assert laboratory.state("F-1") == "recalled"


def test_of_several_recalls_the_gravest_holds(laboratory):
    first = laboratory.report(force_fault())
    laboratory.decide(first, "F-1", "no_action")
    laboratory.report(UNKNOWN)
    assert laboratory.state("F-1") == "under_review"
    assert laboratory.state("F-2") == "recalled"


def test_a_second_look_takes_the_place_of_the_first_where_it_lists_the_certificate(laboratory):
    first = laboratory.report(force_fault())
    second = laboratory.report(UNKNOWN, previous=first)
    assert laboratory.state("F-2") == "under_review"
    laboratory.decide(second, "F-2", "no_action")
    assert laboratory.state("F-2") == "none"


def test_a_second_look_with_too_short_a_window_frees_nothing_unseen(laboratory):
    first = laboratory.report(force_fault())
    laboratory.report(force_fault(**LATE_START), previous=first)
    assert laboratory.state("F-1") == "under_review"
    assert laboratory.state("F-2") == "recalled"
    laboratory.decide(first, "F-1", "no_action")
    assert laboratory.state("F-1") == "none"


def test_what_was_decided_in_the_first_look_holds_where_the_second_does_not_list_it(laboratory):
    first = laboratory.report(force_fault())
    laboratory.decide(first, "F-1", "withdraw")
    laboratory.report(force_fault(**LATE_START), previous=first)
    assert laboratory.state("F-1") == "recalled"


def test_what_only_a_fresh_recall_recalls_is_under_review_until_a_look_lists_it(recalled, recheck):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    recheck()
    assert [recalled.state(n) for n in ("W-1", "C-3", "G-1")] == [
        "recalled",
        "under_review",
        "none",
    ]
    recalled.report()  # of the same fault, but no second look
    assert recalled.state("C-3") == "recalled"


def test_a_decision_on_other_numbers_frees_nobody(recalled, recheck):
    chosen = [{"certificate": "C-2", "revision": 0}]
    body = {"certificates": chosen, "action": "no_action", "by": "A. Q.", "justification": "small"}
    etag = recalled.client.get("/v1/recalls/1/case").headers["ETag"]
    address = "/v1/recalls/1/dispositions"
    made = recalled.client.post(address, json=body, headers={"If-Match": etag})
    assert made.status_code == 201, made.get_json()
    assert recalled.state("C-2") == "none"
    use = {"use": ref("WS", "0.5"), "by": "M. Tarn", "reason": "work sheet"}
    recalled.post("/v1/certificates/C-2/uses/0/corrections", use)
    recheck()
    assert recalled.state("C-2") == "under_review"


def test_what_a_second_look_does_not_list_stays_under_review(recalled):
    recalled.fault = recalled.fault | {"last_good_at": "2025-02-15T00:00:00Z"}
    recalled.report(previous=1)
    assert [recalled.state(n) for n in ("W-1", "C-1", "G-1")] == [*["under_review"] * 2, "none"]


def test_a_second_look_that_finds_no_effect_frees_nothing_unseen(laboratory):
    first = laboratory.report(force_fault())
    second = laboratory.report(force_fault(delta="0"), previous=first)  # all exposed
    assert laboratory.state("F-1") == "under_review"
    assert laboratory.state("E-1") == "none"
    laboratory.decide(first, "F-2", "withdraw")
    assert laboratory.state("F-2") == "recalled"
    for number in ("F-1", "F-2"):
        laboratory.decide(second, number, "no_action")
        assert laboratory.state(number) == "none"


def test_what_the_records_do_not_exclude_is_under_review_until_it_is_decided(laboratory):
    gap = cal("G-1", "G", "06-01", [ref("OTHER", role="adapter")])
    import_laboratory(laboratory.session, LaboratorySchema().load({
        "items": [{"id": "G", "kind": "customer_instrument"}], "calibrations": [gap]
    }), 0)  # fmt: skip
    statement = select(Certificate.id).where(Certificate.number == "G-1")
    laboratory.keys["G-1"] = laboratory.session.scalar(statement)
    first = laboratory.report(force_fault())
    assert laboratory.state("G-1") == "under_review"
    second = laboratory.report(force_fault(isolated_at="2025-05-15T00:00:00Z"), previous=first)
    assert laboratory.state("G-1") == "under_review"  # the narrower window leaves it out
    third = laboratory.report(force_fault(), previous=second)
    laboratory.decide(third, "G-1", "no_action")
    laboratory.decide(first, "G-1", "no_action")
    assert laboratory.state("G-1") == "none"
    laboratory.decide(third, "G-1", "withdraw")
    assert laboratory.state("G-1") == "recalled"
