"""The answer of an import says how many alerts it raised.

That somebody decides about each is ISO/IEC 17025:2017, 7.10.1 (from memory).
"""

from __future__ import annotations

from oracle_cases import cal, ref

from tests.api.services.alerts.alert_laboratory import check, first


def test_an_import_says_how_many_alerts_it_raised(laboratory):
    sent = first(cal("C-1", "I-1", "03-10", [ref("STD")]), checks=[check("K-1")])
    assert laboratory.send("imports?dry_run=true", sent, 200)["alerts"] == 2
    assert laboratory.alerts() == []
    assert laboratory.send("imports", sent)["alerts"] == 2
    assert len(laboratory.open()) == 2
    assert "alerts" not in laboratory.send("imports", sent)
    for one in laboratory.alerts():
        laboratory.answer(one["id"], reason="looked at")
    # Opened again: one check that failed speaks of it, and the overdue item is used anew.
    again = first(cal("C-2", "I-2", "03-12", [ref("STD")]), time_zone="UTC")
    assert laboratory.send("imports", again)["alerts"] == 2
