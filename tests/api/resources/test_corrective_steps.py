"""Cause, corrective action, review: ISO/IEC 17025:2017, 8.7.1 and 8.7.3 (from memory)."""

from __future__ import annotations

import pytest


def test_the_three_steps_stand_with_who_when_and_in_which_words(recalled):
    made = recalled.corrective("cause", "the load cell was overloaded")
    assert made.status_code == 201
    recalled.corrective("corrective_action", "a stop limits the stroke", by="Robin Manager")
    done = recalled.corrective("effectiveness_review", "no overload in a year", effective=True)
    shown = done.get_json()["corrective"]
    assert [one["step"] for one in shown["history"]] == [
        "cause",
        "corrective_action",
        "effectiveness_review",
    ]
    assert shown["cause"]["text"] == "the load cell was overloaded"
    assert "effective" not in shown["cause"]
    assert shown["corrective_action"]["by"] == "Robin Manager"
    assert shown["effectiveness_review"]["effective"] is True
    assert shown["cause"]["at"].endswith("Z")
    assert done.get_json()["history"] == []  # no state changed


@pytest.mark.parametrize(
    ("step", "lacks"),
    [("corrective_action", "cause"), ("effectiveness_review", "corrective action")],
)
def test_a_step_speaks_of_the_one_before(recalled, step, lacks):
    more = {"effective": True} if step == "effectiveness_review" else {}
    refused = recalled.corrective(step, **more)
    assert refused.status_code == 409
    assert refused.get_json()["errors"][0]["detail"] == f"no {lacks} is recorded yet"
    assert recalled.case().get_json()["corrective"]["history"] == []


def test_a_review_that_found_no_help_is_followed_by_another_action(recalled):
    recalled.corrective("cause")
    recalled.corrective("corrective_action", "tightened")
    recalled.corrective("effectiveness_review", "loose again", effective=False)
    recalled.corrective("corrective_action", "replaced by a nut that locks")
    shown = recalled.case().get_json()["corrective"]
    assert shown["corrective_action"]["text"] == "replaced by a nut that locks"
    assert [one["step"] for one in shown["history"]].count("corrective_action") == 2


def test_a_closed_case_can_still_be_reviewed(recalled):
    recalled.excepted()
    for name in ("affected", "indeterminate"):
        recalled.dispose(list=name)
    for state in ("assessed", "notified", "closed"):
        assert recalled.step(state).status_code == 200
    recalled.corrective("cause")
    recalled.corrective("corrective_action")
    assert recalled.corrective("effectiveness_review", effective=True).status_code == 201
    assert recalled.case().get_json()["state"] == "closed"


@pytest.mark.parametrize(
    ("step", "more", "pointer"),
    [
        ("effectiveness_review", {}, "/effective"),
        ("cause", {"effective": True}, "/effective"),
        ("cause", {"text": ""}, "/text"),
        ("root_cause", {}, "/step"),
    ],
)
def test_a_step_that_says_too_little_or_too_much_is_refused(recalled, step, more, pointer):
    refused = recalled.corrective(step, **more)
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == pointer


def test_a_step_names_the_version_that_was_read(recalled):
    etag = recalled.case().headers["ETag"]
    recalled.dispose(certificates=["C-1"])
    body = {"step": "cause", "by": "Q", "text": "wear"}
    address = f"{recalled.at}/corrective-steps"
    late = recalled.client.post(address, json=body, headers={"If-Match": etag})
    assert late.status_code == 412
    assert recalled.client.post(address, json=body).status_code == 428
