"""An alert ends with what raised it and comes back with it; the feed tells each step."""

from __future__ import annotations

from tests.api.services.alerts.alert_laboratory import BY, check


def test_a_check_corrected_to_passed_or_withdrawn_ends_its_alert_and_back_it_is_open(laboratory):
    laboratory.brings(checks=[check("K-1")])
    laboratory.answer(reason="slipped")
    for change, state in (
        ({"result": "pass"}, "ended"),
        ({"result": "fail"}, "open"),
        ({"withdrawn": True}, "ended"),
        ({"withdrawn": False, "at": "2025-02-12"}, "open"),
    ):
        laboratory.send("checks/K-1/corrections", change | {"reason": "sheet"} | BY)
        (one,) = laboratory.alerts()
        assert one["state"] == state
    events = laboratory.read("changes?events=alert.raised,alert.answered,alert.ended")["items"]
    told = [one["event"].removeprefix("alert.") for one in events]
    assert told == ["raised", "answered", "ended", "raised", "ended", "raised"]
    laboratory.send("checks/K-1/corrections", {"result": "pass", "reason": "sheet"} | BY)
    laboratory.answer(status=409, reason="slipped")
