"""An answer lapses when a late record takes away what it was given on; the alert is open again.

That earlier results are looked at whenever what they rest on is found wrong, and that this is done
anew for what becomes known later, is ISO/IEC 17025:2017, 7.10 (from memory; no clause speaks of
late records).
"""

from __future__ import annotations

import pytest
from oracle_cases import answered, cal, part, ref

from api.services.alerts import standing
from tests.api.services.alerts.alert_laboratory import BY, check, reported


def state(laboratory):
    (one,) = laboratory.alerts(kind="check")
    return one["state"]


def test_a_late_use_outside_the_window_opens_what_its_recall_answered(laboratory):
    laboratory.brings(checks=[check("K-1")])
    recall = reported(laboratory, isolated_at="2025-01-20")
    laboratory.answer(recall=recall["id"])
    # Within the window of the recall, which lists it: the answer stands.
    laboratory.records("C-1", "I-1", "01-15", [ref("STD")])
    assert state(laboratory) == "answered"
    laboratory.records("C-2", "I-2", "02-05", [ref("STD")])
    one = laboratory.alert()
    assert (one["state"], one["covered_by"]) == ("open", [])
    (answer,) = one["answers"]
    assert answer["recall"] == recall["id"]
    assert "2025-02-05T10:00:00Z in C-2" in answer["lapsed"]
    assert answer["lapsed_at"] == one["changed_at"]
    refused = laboratory.answer(status=422, recall=recall["id"])
    assert "1 use until good evidence follows" in refused["errors"][0]["detail"]


@pytest.mark.parametrize("day", ["02-05", "02-12"], ids=["before it failed", "after it failed"])
def test_a_late_use_opens_what_was_answered_with_a_reason(laboratory, day):
    laboratory.brings(checks=[check("K-1"), check("K-2", "pass", "2025-02-15")])
    laboratory.answer(reason="never used since its calibration")
    laboratory.records("C-1", "I-1", "02-20", [ref("STD")])  # behind the good evidence
    assert state(laboratory) == "answered"
    laboratory.records("C-2", "I-2", day, [ref("STD")])
    assert state(laboratory) == "open"
    laboratory.answer(reason="C-2 was measured with another standard beside it")
    assert state(laboratory) == "answered"
    said = [one.get("lapsed", "") for one in laboratory.alert()["answers"]]
    assert "in C-2, which was not recorded when it was answered" in said[0]
    assert said[1] == ""


def test_evidence_that_is_withdrawn_leaves_uses_that_the_answer_did_not_know(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "02-20", [ref("STD")]),
        checks=[check("K-1"), check("K-2", "pass", "2025-02-15")],
    )
    laboratory.answer(reason="never used since its calibration")
    laboratory.send("checks/K-2/corrections", {"withdrawn": True, "reason": "other item"} | BY)
    assert state(laboratory) == "open"


def test_a_use_of_what_held_it_then_counts_and_the_next_revision_is_none(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "02-12", [ref("RIG")]),
        checks=[check("K-1")],
        composition=[part("RIG", "STD", until="2025-02-16")],
        kinds={"RIG": "force_machine"},
    )
    laboratory.answer(reason="C-1 was repeated")
    revised = cal("C-1", "I-1", "02-12", [ref("RIG")], revision=1, amendment="a name")
    laboratory.send("certificates/C-1/revisions", answered(revised))
    laboratory.records("C-2", "I-2", "02-18", [ref("RIG")])  # no longer inside
    assert state(laboratory) == "answered"
    laboratory.records("C-3", "I-3", "02-14", [ref("RIG")])
    assert state(laboratory) == "open"


def test_verify_sees_an_answer_that_does_not_hold(laboratory, database):
    laboratory.brings(cal("C-1", "I-1", "02-12", [ref("STD")]), checks=[check("K-1")])
    laboratory.answer(reason="C-1 was repeated")
    with database.read() as session:
        assert list(standing.astray(session)) == []
        session.connection().exec_driver_sql("UPDATE alert_answer SET known_uses = '[]'")
        ((what, says),) = standing.astray(session)
        session.rollback()
    assert what == "alert 1"
    assert "in C-1, which was not recorded" in says
