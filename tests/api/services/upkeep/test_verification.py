"""Whatever a hand, a crash or a disk could break in the store is found, by name."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.services.upkeep.verification import verify
from api.store.casework import Notice
from api.store.journal import JournalLine
from api.store.tables import Certificate, DecisionRule, Recall, RecallEntry, StoredDecision, Usage

DEMO = Path(__file__).parents[4] / "fixtures" / "demo_lab"
DECISION = {"value": "10.01", "U": "0.004", "unit": "kN", "limits": {"upper": "10.015"}}


def work(client):
    """Decide, recall and give notice."""
    story = json.loads((DEMO / "story.json").read_text())
    posts = [
        ("/v1/imports", json.loads((DEMO / "laboratory.json").read_text())),
        ("/v1/recalls", {"fault": story["fault"]}),
        ("/v1/recalls", {"fault": story["fault"], "previous": 1}),
        ("/v1/decisions", DECISION | {"rule": "guard_U"}),
        ("/v1/decision-rules", {"id": "half_U", "guard": {"basis": "U", "factor": "0.5"}}),
        ("/v1/specifications", {"id": "S-1", "unit": "kN", "tolerance": "0.050"}),
        ("/v1/recalls/1/notices", {"by": "Ada Quill"}),
    ]
    contact = {"name": "Millvane Force Laboratory", "contact": "office"}
    etag = client.get("/v1/laboratory").headers["ETag"]
    client.patch("/v1/laboratory", json=contact, headers={"If-Match": etag})
    for path, body in posts:
        answer = client.post(path, json=body)
        assert answer.status_code == 201, answer.json


@pytest.fixture
def worked(once, database):
    """A laboratory that decided, recalled and gave notice."""
    once(work)
    return database


def found(database):
    with database.read() as session:
        return verify(session).findings


def change(database, statement):
    with database.write() as session:
        changed = session.execute(statement)
        assert changed.rowcount > 0


def test_a_laboratory_at_work_is_whole_and_the_report_says_what_was_looked_at(worked):
    with worked.read() as session:
        report = verify(session)
    assert report.findings == []
    assert report.looked_at["recalls"] == report.looked_at["recall"] == 2
    assert report.looked_at["what leads to entries"] > report.looked_at["entries"] / 2
    assert report.looked_at["decision"] == 1
    assert report.looked_at["notices"] == report.looked_at["notice"] > 1
    assert report.looked_at["journal"] > 7
    assert report.looked_at["decision rule"] >= 2  # the built-in ones that were used, and ours


@pytest.mark.parametrize(
    ("statement", "check"),
    [
        (
            sa.update(RecallEntry)
            .where(RecallEntry.position == 0)
            .values(body=sa.func.replace(RecallEntry.body, "pass", "fail")),
            "recalls",
        ),
        (sa.delete(RecallEntry).where(RecallEntry.position == 3), "recalls"),
        (sa.update(Recall).values(result_hash="0" * 64), "recall"),
        (sa.update(Notice).values(content=Notice.content + " "), "notices"),
        (sa.update(StoredDecision).values(answer={"verdict": "fail"}), "decision"),
        (sa.delete(StoredDecision), "decision"),
        (
            sa.update(DecisionRule)
            .where(DecisionRule.code == "half_U")
            .values(definition={"guard": {"basis": "none"}, "zones": 2}),
            "decision rule",
        ),
        (sa.update(Usage).where(Usage.id == 40).values(source_id=None), "what was in force"),
        (
            sa.update(Certificate).where(Certificate.id == 40).values(span_from="1"),
            "calibrated ranges",
        ),
        (sa.delete(JournalLine).where(JournalLine.position == 3), "journal"),
    ],
)
def test_an_edit_behind_the_programs_back_is_found(worked, statement, check):
    change(worked, statement)
    assert check in {one.check for one in found(worked)}


def test_a_record_that_the_journal_does_not_know_is_found(worked):
    with worked.write() as session:
        session.add(
            StoredDecision(recorded_us=0, engine_version="1", verdict="pass", request={}, answer={})
        )
    (one,) = found(worked)
    assert (one.check, one.detail) == ("decision", "1 of them have no line")


def test_a_rule_that_a_stored_decision_needed_first_is_in_the_journal_too(client, database):
    for headers in ({}, {"Idempotency-Key": "one"}):
        sent = DECISION | {"rule": "simple" if headers else "four_state_U"}
        assert client.post("/v1/decisions", json=sent, headers=headers).status_code == 201
    assert found(database) == []
