"""An alert ends with what raised it and comes back with it; the feed tells each step."""

from __future__ import annotations

from oracle_cases import cal, ref

from api.services.alerts.alerts import most_pressing
from tests.api.services.alerts.alert_laboratory import BY, check, found


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


def test_an_ended_alert_says_by_whom_and_why_it_ended(laboratory, keys):
    # A key that records may withdraw a check, which takes a name and a reason: it is seen.
    laboratory.brings(checks=[check("K-1")])
    body = {"withdrawn": True, "by": "Ruth Bench", "reason": "of another item"}
    made = laboratory.client.post(
        "/v1/checks/K-1/corrections", json=body, headers=keys.headers("read", "record")
    )
    assert made.status_code == 201, made.text
    ended = laboratory.alert()["ended"]
    assert {name: ended[name] for name in ("by", "reason", "cause")} == {
        "by": "Ruth Bench",
        "reason": "of another item",
        "cause": "check K-1 was corrected",
    }
    (line,) = laboratory.read("journal?limit=1")["items"]
    assert line["person"] == "Ruth Bench"
    says = {one["what"]: one for one in line["facts"]}
    assert says["alert ended"]["first"] == [1]
    assert says["alert ended"]["cause"] == "check K-1 was corrected"
    laboratory.send("checks/K-1/corrections", {"withdrawn": False} | BY | {"reason": "it was ours"})
    assert "ended" not in laboratory.alert()


def test_a_void_names_the_key_since_it_names_no_person(laboratory):
    laboratory.brings(cal("S-2", "STD", "02-20", [], [found("0.02")]))
    laboratory.send("certificates/S-2/void", {"reason": "typed for another"}, 200)
    ended = laboratory.alert()["ended"]
    assert (ended["cause"], ended["reason"]) == ("certificate S-2 was voided", "typed for another")
    assert ended["key"]


def test_an_overdue_alert_without_uses_says_that_none_stands(laboratory):
    laboratory.brings(cal("C-1", "I-1", "03-05", [ref("STD")]))
    laboratory.send("certificates/C-1/void", {"reason": "never done"}, 200)
    (alert,) = laboratory.alerts(state="ended")
    assert alert["says"] == "no use of STD after certificate S-1 was due (2025-03-01) stands now"


def test_first_comes_what_nothing_good_followed_and_of_these_the_newest(laboratory, database):
    passed = check("K-3", "pass", "2025-02-13", "S2")
    laboratory.brings(
        checks=[
            check("K-1", at="2025-02-10"),
            check("K-2", at="2025-02-12", item="S2"),
            passed,
            check("K-4", at="2025-02-11", item="S3"),
        ],
        kinds={"S2": "working_standard", "S3": "working_standard"},
    )
    with database.read() as session:
        shown = [one["raised_by"]["check"] for one in most_pressing(session, 5)]
        assert shown == ["K-4", "K-1", "K-2"]
        assert len(most_pressing(session, 2)) == 2
