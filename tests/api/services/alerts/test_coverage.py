"""A recall answers what its window holds, and nothing else."""

from __future__ import annotations

import pytest
from oracle_cases import cal, ref

from tests.api.services.alerts.alert_laboratory import check, reported


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"item": "REF"}, "no fault of recall R-00001 is of STD"),
        ({"isolated_at": "2025-02-01"}, "2025-02-05T10:00:00Z in C-1"),  # used since
        ({"last_good_at": "2025-02-11"}, "does not hold the failure"),
    ],
)
def test_a_recall_that_does_not_cover_the_failure_answers_nothing(laboratory, changes, says):
    laboratory.brings(
        cal("C-1", "I-1", "02-05", [ref("STD")]),
        checks=[check("K-1")],
        kinds={"REF": "reference_standard"},
    )
    if "last_good_at" in changes:
        changes = changes | {"isolated_at": "2025-03-01"}
    recall = reported(laboratory, **changes)
    refused = laboratory.answer(status=422, recall=recall["id"])
    assert says in refused["errors"][0]["detail"]
    assert len(laboratory.open()) == 1


def test_a_window_that_ends_with_the_failure_leaves_out_the_uses_behind_it(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "02-12", [ref("STD")]),
        cal("C-2", "I-2", "02-20", [ref("STD")]),
        checks=[check("K-1"), check("K-2", "pass", "2025-02-15")],
    )
    recall = reported(laboratory, isolated_at="2025-02-10T12:00:00Z")
    refused = laboratory.answer(status=422, recall=recall["id"])
    # C-2 lies behind the passed check.
    says = "1 use until good evidence follows the failure at 2025-02-10T12:00:00Z"
    assert f"{says}: 2025-02-12T10:00:00Z in C-1" in refused["errors"][0]["detail"]
    assert "every use until good evidence follows" in refused["errors"][0]["remedy"]
    recall = reported(laboratory, isolated_at="2025-02-13")
    assert laboratory.answer(recall=recall["id"])["state"] == "answered"


def test_a_failure_that_was_found_after_the_item_was_taken_out_of_use_is_covered(laboratory):
    laboratory.brings(cal("C-1", "I-1", "01-20", [ref("STD")]), checks=[check("K-1")])
    recall = reported(laboratory, isolated_at="2025-02-01")
    assert laboratory.answer(recall=recall["id"])["state"] == "answered"


def test_all_uses_of_an_overdue_item_lie_in_the_window_that_answers_them(laboratory):
    laboratory.brings(*(cal(f"C-{n}", f"I-{n}", f"03-1{n}", [ref("STD")]) for n in (1, 2)))
    short = reported(laboratory, isolated_at="2025-03-11")
    refused = laboratory.answer(status=422, recall=short["id"])
    assert "the uses from 2025-03-11T10:00:00Z to 2025-03-12T10:00:00Z" in str(refused)
    laboratory.answer(recall=reported(laboratory)["id"])
    assert laboratory.open() == []
