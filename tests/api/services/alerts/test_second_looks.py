"""An answer by a recall holds as long as its latest look covers the failure."""

from __future__ import annotations

from oracle_cases import cal, ref

from tests.api.services.alerts.alert_laboratory import check, reported


def test_another_look_that_no_longer_covers_the_failure_opens_the_alert(laboratory):
    laboratory.brings(cal("C-1", "I-1", "02-05", [ref("STD")]), checks=[check("K-1")])
    recall = reported(laboratory)
    laboratory.answer(recall=recall["id"])
    fault = laboratory.alert()["draft"]["fault"]
    again = laboratory.send("recalls", {"fault": fault, "previous": recall["id"]})
    assert laboratory.open() == []
    fault["isolated_at"] = "2025-02-01"
    laboratory.send("recalls", {"fault": fault, "previous": again["id"]})
    assert len(laboratory.open()) == 1
