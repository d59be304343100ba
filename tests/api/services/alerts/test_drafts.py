"""The fault that an alert shows: ready to be looked at, with what it would reach."""

from __future__ import annotations

import pytest
from oracle_cases import cal, part, ref

from tests.api.services.alerts.alert_laboratory import check, found, reported


def test_the_draft_of_a_failed_check_reaches_from_the_last_values_as_left_that_held(laboratory):
    laboratory.brings(
        cal("S-2", "STD", "01-20", [], [found("0.02"), found("0.03", "as_left")]),
        cal("C-1", "I-1", "02-05", [ref("STD")]),
        checks=[check("K-1")],
    )
    key = laboratory.alerts(kind="check")[0]["id"]
    one = laboratory.alert(key)
    fault = one["draft"]["fault"]
    assert (fault["item"], fault["kind"]) == ("STD", "unknown")
    # S-2 failed as it was left, so that S-1 is the last good evidence.
    assert fault["last_good_at"] == "2025-01-10T10:00:00Z"
    assert fault["isolated_at"] == "2025-02-10T12:00:00Z"
    assert "S-2 failed as it was left and is no good evidence" in one["draft"]["notes"]
    assert "Stay within the rated capacity" in one["caution"]
    assert laboratory.read(f"alerts/{key}/fault-draft") == one["draft"]
    reach = laboratory.read(one["links"]["reach"].removeprefix("/v1/"))
    assert reach["summary"]["indeterminate"] == 1  # C-1 used it inside the window
    assert laboratory.read("recalls")["items"] == []


def test_the_draft_of_results_as_found_is_that_of_the_certificate(laboratory):
    # e = 0.02/10 = 0.002: 1/1.002 - 1 = -0.00199600798403 to 12 digits
    laboratory.brings(cal("S-2", "STD", "02-20", [], [found("0.02"), found("0", "as_left")]))
    one = laboratory.alert()
    (segment,) = one["draft"]["fault"]["segments"]
    assert segment["delta_rel"].startswith("-0.001996007984")
    assert one["draft"] == laboratory.send("recalls/fault-drafts", {"certificate": "S-2"}, 200)
    # Its own values as left followed, which clears nothing that was measured before.
    assert one["followed_by"]["certificate"] == "S-2"
    assert one["good_evidence_followed"] is True


def test_results_without_forces_give_a_draft_all_the_same(laboratory):
    bare = {"point": 1, "stage": "as_found", "error_rel_pct": "1", "verdict_reported": "fail"}
    laboratory.brings(cal("S-2", "STD", "02-20", [], [bare]))
    assert laboratory.alert()["draft"]["fault"]["kind"] == "unknown"


def test_the_draft_of_overdue_uses_begins_with_the_last_good_values(laboratory):
    laboratory.brings(cal("C-1", "I-1", "03-10", [ref("STD")]), cal("S-2", "STD", "04-01", []))
    one = laboratory.alert()
    fault = one["draft"]["fault"]
    assert (fault["last_good_at"], fault["isolated_at"]) == (
        "2025-01-10T10:00:00Z",
        "2025-03-10T10:00:00Z",
    )
    assert one["followed_by"]["certificate"] == "S-2"  # found good, as a single result is


# ISO/IEC 17025:2017, 6.4.9 and 7.10.1 (from memory): what was measured with equipment since it was
# last known good is looked at, until it is taken out of service; that it failed ends nothing.
@pytest.mark.parametrize(
    ("failure", "used"),
    [
        ({"checks": [check("K-1")]}, "STD"),
        ({"checks": [check("K-1")], "composition": [part("RIG", "STD")]}, "RIG"),
        # A single result that fails is as found and as left in one: nothing good ends it.
        ({"S-2": [found("0.02", "single")]}, "STD"),
    ],
    ids=["check", "in an assembly", "single"],
)
def test_a_draft_has_no_end_where_the_item_was_used_after_it_failed(laboratory, failure, used):
    more = dict(failure)
    results = more.pop("S-2", None)
    left = [cal("S-2", "STD", "02-10", [], results)] if results else []
    laboratory.brings(
        *left,
        cal("C-1", "I-1", "02-12", [ref(used)]),
        cal("C-2", "I-2", "02-14", [ref(used)]),
        kinds={"RIG": "force_machine"},
        **more,
    )
    draft = laboratory.alert()["draft"]
    assert draft["fault"]["isolated_at"] is None
    (note,) = [one for one in draft["notes"] if "taken out of use" in one]
    assert note.startswith("2 later uses of STD after it failed")
    recall = reported(laboratory)
    assert recall["window"]["end"] is None
    listed = (recall["summary"][name] for name in ("affected", "indeterminate"))
    assert sum(listed) == 2
    assert laboratory.answer(recall=recall["id"])["state"] == "answered"


@pytest.mark.parametrize(
    "good",
    [
        {"checks": [check("K-1"), check("K-2", "pass", "2025-02-11")]},
        {"S-2": [found("0.02"), found("0", "as_left")]},
    ],
    ids=["a passed check", "values as left"],
)
def test_uses_behind_good_evidence_are_another_matter(laboratory, good):
    more = dict(good)
    results = more.pop("S-2", None)
    left = [cal("S-2", "STD", "2025-02-10T12:00:00Z", [], results)] if results else []
    laboratory.brings(*left, cal("C-1", "I-1", "02-12", [ref("STD")]), **more)
    fault = laboratory.alert()["draft"]["fault"]
    assert fault["isolated_at"] == "2025-02-10T12:00:00Z"


def test_an_isolation_that_is_recorded_ends_the_draft(laboratory):
    laboratory.brings(cal("C-1", "I-1", "02-12", [ref("STD")]), checks=[check("K-1")])
    reported(laboratory, isolated_at="2025-02-13T08:00:00Z")
    draft = laboratory.alert()["draft"]
    assert draft["fault"]["isolated_at"] == "2025-02-13T08:00:00Z"
    assert "isolated_at is the isolation of the item that a recall recorded" in draft["notes"]
