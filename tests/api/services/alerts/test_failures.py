"""Which failures the records show, and of which items."""

from __future__ import annotations

import pytest
from oracle_cases import cal, ref, row

from tests.api.services.alerts.alert_laboratory import BY, check, found


def test_a_failed_check_raises_an_alert_in_the_transaction_that_records_it(laboratory):
    laboratory.brings()
    assert laboratory.open() == []
    laboratory.send("checks", check("K-0", "pass"))
    laboratory.send("checks", check("K-1", kind="inspection", at="2025-02-11"))
    (one,) = laboratory.alerts(state="open")
    assert (one["kind"], one["says"]) == ("check", "STD failed check K-1 (inspection)")
    assert one["raised_by"] == {"check": "K-1", "kind": "inspection"}
    assert one["good_before"] == {"check": "K-0", "at": "2025-02-10T12:00:00Z"}
    assert one["good_evidence_followed"] is False
    (line,) = laboratory.read("journal?limit=1")["items"]
    assert {"what": "alert raised", "alerts": 1, "first": [one["id"]]} in line["facts"]


@pytest.mark.parametrize(("error", "raised"), [("0.008", 0), ("-0.0081", 1)])
def test_a_result_as_found_beyond_its_guarded_limit_raises_one(laboratory, error, raised):
    # 0.01 - 0.002 = 0.008 kN is the last accepted error; on the limit is inside.
    laboratory.brings()
    laboratory.records("S-2", "STD", "02-20", [], [found(error), found("0", "as_left")])
    assert len(laboratory.open()) == raised


def test_what_was_reported_counts_where_no_rule_can_tell(laboratory):
    bare = {"point": 1, "stage": "as_found", "unit": "kN", "applied": "10", "error": "0.1"}
    laboratory.brings()
    laboratory.records("S-2", "STD", "02-20", [], [bare])
    assert laboratory.open() == []
    laboratory.records("S-3", "STD", "02-21", [], [bare | {"verdict_reported": "fail"}])
    assert laboratory.open() == [("as_found", "STD failed as found in certificate S-3")]


def test_a_single_result_that_fails_was_found_so(laboratory):
    laboratory.brings()
    laboratory.records("S-2", "STD", "02-20", [], [row("10", "0.02")])
    assert laboratory.open() == [("as_found", "STD failed as found in certificate S-2")]


def test_an_instrument_of_a_customer_raises_one_from_its_first_use_on(laboratory):
    laboratory.brings(cal("C-1", "I-1", "02-01", [ref("STD")], [found("0.5")]))
    assert laboratory.open() == []
    laboratory.records("C-2", "I-2", "02-02", [ref("I-1")])
    assert laboratory.open() == [("as_found", "I-1 failed as found in certificate C-1")]
    laboratory.send("certificates/C-2/uses/0/corrections", {"use": None, "reason": "typo"} | BY)
    assert laboratory.open() == []
