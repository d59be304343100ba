"""The fault that an alert shows: ready to be looked at, with what it would reach."""

from __future__ import annotations

from oracle_cases import cal, ref

from tests.api.services.alerts.alert_laboratory import check, found


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
