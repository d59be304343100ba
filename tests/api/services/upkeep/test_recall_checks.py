"""Whatever a stored recall says, watches or overlooks wrongly is found: each fault is planted."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from oracle_cases import OPEN, answered, cal, lab, ref

from api.services.upkeep.verification import verify
from api.store.record_watch import (
    RecallDifference,
    RecallWatch,
    RecallWatchItem,
    RecallWatchWindow,
)
from api.store.tables import RecallEntry

FAULT = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "-0.0005"} | OPEN
LABORATORY = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("C-1", "A", "02-01", [ref("WS")]),
    cal("G-1", "GOOD", "01-05", [ref("GOLD")]),
)
LATE = answered(cal("C-2", "GOLD", "05-01", [ref("WS")]))


@pytest.fixture
def kept(client, database, recheck):
    """A laboratory with a recall that turned stale, and one that did not."""
    assert client.post("/v1/imports", json=LABORATORY).status_code == 201
    for one in ({"fault": FAULT}, {"fault": FAULT | {"item": "GOOD"}}):
        assert client.post("/v1/recalls", json=one).status_code == 201
    assert client.post("/v1/calibrations", json=LATE).status_code == 201
    assert recheck() == {1: True}
    return database


def findings(database, recalls=25):
    with database.read() as session:
        report = verify(session, recalls)
        return report, [(one.subject, one.detail) for one in report.findings]


def test_a_laboratory_at_work_is_whole_and_the_report_says_how_much_was_looked_at(kept, client):
    report, found = findings(kept)
    assert found == []
    assert report.looked_at["recalls watched"] == report.looked_at["recalls worked out anew"] == 2
    assert report.looked_at["recalls that wait to be compared"] == 0
    assert findings(kept, 1)[0].looked_at["recalls worked out anew"] == 1
    assert "recalls worked out anew" not in findings(kept, 0)[0].looked_at
    client.post("/v1/certificates/W-1/void", json={"reason": "wrong sheet"})
    report, found = findings(kept)
    assert found == []
    assert report.looked_at["recalls that wait to be compared"] > 0


def first(table, **more):
    return sa.delete(table).where(table.recall_id == 1).filter_by(**more)


PLANTED = {
    "it says not stale, and a fresh recall shows otherwise": sa.update(RecallWatch)
    .where(RecallWatch.recall_id == 1)
    .values(stale=False),
    "its differences are not those of a fresh recall": first(RecallDifference),
    "it does not watch 1 of its windows": first(RecallWatchWindow),
    "nothing says whether it still holds": first(RecallWatch),
    "an entry does not bear its own hash": sa.update(RecallEntry)
    .where(RecallEntry.recall_id == 1, RecallEntry.position == 0)
    .values(body_hash="0"),
}


@pytest.mark.parametrize("detail", PLANTED)
def test_what_is_planted_is_found(kept, detail):
    with kept.write() as session:
        assert session.execute(PLANTED[detail]).rowcount > 0
    found = findings(kept)[1]
    assert ("R-00001", detail) in found
    assert {subject for subject, _ in found} == {"R-00001"}


def test_an_item_that_is_not_watched_is_found(kept):
    with kept.write() as session:
        one = sa.select(sa.func.min(RecallWatchItem.item_id)).where(RecallWatchItem.recall_id == 1)
        session.execute(
            first(RecallWatchItem).where(RecallWatchItem.item_id == one.scalar_subquery())
        )
    assert findings(kept)[1] == [("R-00001", "it does not watch 1 of its items")]


def test_a_write_that_marked_nobody_is_found(kept, client):
    more = answered(cal("C-3", "A", "05-05", [ref("WS")]))
    assert client.post("/v1/calibrations", json=more).status_code == 201
    with kept.write() as session:
        session.execute(sa.update(RecallWatch).values(marked_position=None))
    found = findings(kept)[1]
    assert ("R-00001", "it was not marked by a write that may change it") in found
