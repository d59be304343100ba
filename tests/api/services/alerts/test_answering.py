"""An alert is answered by a recall or with a reason, alone, together or by a filter."""

from __future__ import annotations

from oracle_cases import cal, ref

from tests.api.services.alerts.alert_laboratory import BY, check, found, reported


def test_a_person_with_a_reason_answers_an_alert(laboratory):
    laboratory.brings(checks=[check("K-1")])
    one = laboratory.answer(reason="the check weight was the wrong one")
    assert one["state"] == "answered"
    (answer,) = one["answers"]
    assert (answer["by"], answer["reason"]) == (
        "Quinn Assessor",
        "the check weight was the wrong one",
    )
    assert laboratory.open() == []
    (line,) = laboratory.read("journal?limit=1")["items"]
    assert line["facts"][0]["what"] == "alert answered"
    assert line["person"] == "Quinn Assessor"


def test_the_same_answer_is_given_once_and_another_one_may_follow(laboratory):
    laboratory.brings(checks=[check("K-1"), check("K-2", at="2025-02-11")])
    laboratory.answer(reason="the wrong weight")
    refused = laboratory.answer(status=409, reason="the wrong weight")
    assert refused["errors"][0]["detail"] == "it is answered so already"
    assert len(laboratory.alert()["answers"]) == 1
    # With those of the same failure it is said of the others alone.
    laboratory.answer(reason="the wrong weight", together=True)
    assert [len(laboratory.alert(key)["answers"]) for key in (1, 2)] == [1, 1]
    assert len(laboratory.answer(reason="looked at again")["answers"]) == 2


def test_an_answer_says_a_recall_or_a_reason(laboratory):
    laboratory.brings(checks=[check("K-1")])
    refused = laboratory.answer(status=422)
    assert refused["errors"][0]["pointer"] == "/reason"
    refused = laboratory.answer(status=422, recall=7)
    assert refused["errors"][0]["detail"] == "recall 7 does not exist"
    laboratory.answer(key=9, status=404, reason="none")


def test_a_recall_whose_window_holds_the_failures_answers_them_together(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "02-05", [ref("STD")]),
        cal("S-2", "STD", "02-20", [], [found("0.02")]),
        checks=[check("K-1")],
    )
    keys = {one["kind"]: one["id"] for one in laboratory.alerts()}
    assert laboratory.alert(keys["check"])["together"] == [keys["as_found"]]
    recall = reported(laboratory, keys["as_found"])
    named = {"recall": recall["id"], "recall_number": recall["number"]}
    assert laboratory.alert(keys["check"])["covered_by"] == [named]
    one = laboratory.answer(keys["check"], recall=recall["id"], together=True)
    assert one["answers"][0]["recall_number"] == recall["number"]
    assert laboratory.open() == []


def test_good_evidence_between_them_makes_two_failures(laboratory):
    laboratory.brings(
        checks=[check("K-1"), check("K-2", "pass", "2025-02-11"), check("K-3", at="2025-02-12")]
    )
    assert [laboratory.alert(key)["together"] for key in (1, 2)] == [[], []]


def test_all_that_pass_a_filter_are_answered_if_they_are_as_many_as_was_said(laboratory):
    laboratory.brings(
        checks=[check("K-1"), check("K-2", "pass", "2025-02-11"), check("K-3", at="2025-02-12")]
    )
    followed = {"good_evidence_followed": True}
    sent = {"filter": followed, "count": 2, "reason": "history, looked at on paper"} | BY
    refused = laboratory.send("alerts/answers", sent, 409)
    assert refused["errors"][0]["detail"] == "1 alert(s) are meant"
    assert laboratory.send("alerts/answers", sent | {"count": 1}) == {"answered": 1}
    assert laboratory.open() == [("check", "STD failed check K-3")]
    laboratory.send("alerts/answers", {"filter": {}, "count": 1} | BY, 422)
    for loose in ("yes", "true", "0", 0, 1, 2, None):
        loosely = sent | {"filter": {"good_evidence_followed": loose}}
        refused = laboratory.send("alerts/answers", loosely, 422)
        (error,) = refused["errors"]
        assert error["pointer"] == "/filter/good_evidence_followed"
    # In an address it is a text, as for other lists.
    assert len(laboratory.alerts(good_evidence_followed="true")) == 1
    laboratory.read("alerts?good_evidence_followed=2", 422)
