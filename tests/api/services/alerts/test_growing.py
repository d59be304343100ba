"""The alert of an overdue value grows with its uses, and a new one opens it again."""

from __future__ import annotations

from oracle_cases import answered, cal, ref


def test_uses_of_an_overdue_value_are_one_alert_that_grows(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "2025-03-01T23:59:59Z", [ref("STD")]),
        cal("C-2", "I-2", "2025-03-02", [ref("STD")]),
    )
    (one,) = laboratory.alerts(state="open")
    assert (one["kind"], one["uses"], one["at"]) == ("overdue_use", 1, "2025-03-02")
    assert one["raised_by"] == {"certificate": "S-1", "revision": 0, "due_at": "2025-03-01"}
    laboratory.records("C-3", "I-3", "03-09", [ref("STD")])
    (one,) = laboratory.alerts()
    assert (one["uses"], one["until"]) == (2, "2025-03-09T10:00:00Z")
    used = laboratory.alert()["used_by"]
    assert [one["certificate"] for one in used] == ["C-2", "C-3"]


def test_a_new_overdue_use_opens_what_was_answered_and_a_revision_of_an_old_one_does_not(
    laboratory,
):
    made = cal("C-1", "I-1", "03-10", [ref("STD")])
    laboratory.brings(made)
    laboratory.answer(reason="found good on 1 April")
    laboratory.send(
        "certificates/C-1/revisions", answered(made | {"revision": 1, "amendment": "address"})
    )
    assert laboratory.open() == []
    laboratory.records("C-2", "I-2", "03-11", [ref("STD")])
    assert len(laboratory.open()) == 1
