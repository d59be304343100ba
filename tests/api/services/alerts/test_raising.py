"""One failure, one alert, whatever becomes of the record that shows it."""

from __future__ import annotations

import sqlalchemy as sa
from oracle_cases import answered, cal, ref

from tests.api.services.alerts.alert_laboratory import BY, check, first, found


def test_a_draft_raises_nothing_until_it_is_issued(laboratory):
    laboratory.brings(cal("S-2", "STD", "02-20", [], [found("0.02")], status="draft"))
    laboratory.brings(cal("C-1", "I-1", "03-05", [ref("STD")], status="draft"))
    assert laboratory.open() == []
    for number in ("S-2", "C-1"):
        laboratory.send(f"certificates/{number}/issue", answered({"issued_at": "2025-04-01"}), 200)
    # S-2 states no due date, and nobody used STD overdue of S-1 after it.
    assert laboratory.open() == [("as_found", "STD failed as found in certificate S-2")]


def test_the_same_failure_recorded_again_raises_one(laboratory):
    failed = cal("S-2", "STD", "02-20", [], [found("0.02")])
    sent = first(failed, checks=[check("K-1")])
    for status in (201, 201):
        laboratory.send("imports", sent, status)
    laboratory.send("calibrations", failed, 200)
    laboratory.send(
        "certificates/S-2/revisions", answered(failed | {"revision": 1, "amendment": "address"})
    )
    assert len(laboratory.alerts()) == 2
    assert laboratory.alerts(kind="as_found")[0]["raised_by"]["revision"] == 1


def test_a_check_corrected_to_another_item_is_the_failure_of_that(laboratory):
    laboratory.brings(checks=[check("K-1")], kinds={"REF": "reference_standard"})
    laboratory.send("checks/K-1/corrections", {"item": "REF", "reason": "sheet"} | BY)
    assert [(one["item"], one["state"]) for one in laboratory.alerts()] == [
        ("STD", "ended"),
        ("REF", "open"),
    ]


def test_a_voided_calibration_ends_the_alert_of_what_it_found(laboratory):
    laboratory.brings(cal("S-2", "STD", "02-20", [], [found("0.02")]))
    laboratory.send("certificates/S-2/void", {"reason": "wrong instrument"}, 200)
    assert [one["state"] for one in laboratory.alerts()] == ["ended"]


def test_an_identity_swap_moves_the_alert_to_the_other_item(laboratory):
    laboratory.brings(checks=[check("K-1")], kinds={"REF": "working_standard"})
    swap = {"items": ["STD", "REF"], "from": "2025-02-01T00:00:00Z", "reason": "labels"} | BY
    laboratory.send("identity-swaps", swap)
    states = {one["item"]: one["state"] for one in laboratory.alerts()}
    assert states == {"STD": "ended", "REF": "open"}


def test_records_that_are_older_than_the_alerts_are_read_with_the_next_write(laboratory, database):
    laboratory.brings(checks=[check("K-1")])
    with database.write() as session:
        for table in ("change", "alert", "alert_reading"):
            session.execute(sa.text(f'DELETE FROM "{table}"'))
    assert laboratory.open() == []
    laboratory.send("checks", check("K-2", "pass", "2025-02-11"))
    assert laboratory.open() == [("check", "STD failed check K-1")]


def test_a_calibration_that_is_recorded_late_takes_its_uses_out_and_its_void_gives_them_back(
    laboratory,
):
    laboratory.brings(cal("C-1", "I-1", "03-10", [ref("STD")]))
    assert len(laboratory.open()) == 1
    laboratory.records("S-2", "STD", "03-05", [])
    assert laboratory.open() == []
    assert laboratory.alert()["state"] == "ended"
    laboratory.send("certificates/S-2/void", {"reason": "x", "voided_at": "2025-03-06"}, 200)
    assert len(laboratory.open()) == 1
