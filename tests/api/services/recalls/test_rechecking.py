"""A stored recall is compared with a fresh one, and nothing that comes meanwhile is lost."""

from __future__ import annotations

import sqlalchemy as sa
from oracle_cases import cal, ref

from api.services.recalls import rechecking
from api.store import leases
from api.store.record_watch import RecallWatch
from api.store.tables import RecallStale

NOW = 1_893_456_000_000_000


def worked_out(database):
    with database.read() as session:
        return rechecking.worked_out(session, 1, NOW)


def keep(database, exact):
    with database.write() as session:
        return rechecking.keep(session, exact, NOW)


def flags(database):
    with database.read() as session:
        return list(session.scalars(sa.select(RecallStale.stale).order_by(RecallStale.id)))


def test_what_is_written_while_it_is_worked_out_leaves_the_mark(recalled, database):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    exact = worked_out(database)
    recalled.record(cal("C-4", "Y", "05-02", [ref("WS")]))
    assert keep(database, exact) is None
    shown = recalled.shown()
    assert shown["stale"] == "checking"
    assert "C-4" in shown["staleness"]["checking"]["cause"]
    assert shown["staleness"]["checking"]["was"] is True  # as far as was read
    assert keep(database, worked_out(database)) is True
    assert recalled.shown()["staleness"]["differences"]["added"]["count"] == 2


def test_a_write_that_only_what_was_found_watches_leaves_the_mark_too(recalled, database):
    # X is watched once C-3 is known to be listed, and C-4 rests on X alone.
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    exact = worked_out(database)
    recalled.record(cal("C-4", "Y", "06-01", [ref("X")]))
    assert keep(database, exact) is None


def test_what_does_not_concern_it_does_not_keep_it_waiting(recalled, database):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    exact = worked_out(database)
    recalled.record(cal("Z-1", "Y", "06-01", [ref("GOOD")]))
    assert keep(database, exact) is True


def test_an_older_comparison_does_not_replace_a_later_one(recalled, database):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    old = worked_out(database)
    recalled.post("/v1/certificates/C-3/void", {"reason": "wrong sheet"})
    # Voided it is traced, not recalled: still in a list that counts.
    assert keep(database, worked_out(database)) is True
    assert keep(database, old) is True
    found = recalled.shown()["staleness"]["differences"]["added"]["certificates"]
    assert [one["class"] for one in found] == ["traced_not_recalled"]


def test_the_history_goes_on_only_where_something_else_is_found(recalled, database, recheck):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    recheck()
    recalled.record(cal("Z-1", "Y", "06-01", [ref("GOOD")]))
    recalled.post("/v1/checks", {"id": "K", "item": "B", "at": "2025-05-05", "result": "pass"})
    recheck()
    assert flags(database) == [True]
    recalled.record(cal("C-4", "Y", "05-02", [ref("WS")]))
    recheck()
    assert flags(database) == [True, True]


def test_windows_count_too(recalled, recheck):
    check = {"id": "K", "item": "REF", "at": "2025-01-05T00:00:00Z", "result": "pass"}
    check |= {"acceptance_limit_rel": "0.0001", "U_rel": "0.0001", "independent": True}
    recalled.post("/v1/checks", check | {"covers": "full range"})
    recheck()
    shown = recalled.shown()
    # Nobody used REF before 5 January, so the lists are the same; 0.0001 + 0.0001 < 0.0005.
    assert shown["stale"] is True
    windows = shown["staleness"]["differences"].pop("windows")
    assert {part["count"] for part in shown["staleness"]["differences"].values()} == {0}
    starts = [windows[side][0]["start"] for side in ("from", "to")]
    assert starts == ["2025-01-01T00:00:00Z", "2025-01-05T00:00:00Z"]


def test_a_fault_that_cannot_be_worked_out_any_more_is_stale_and_says_why(recalled, recheck):
    recalled.post("/v1/items", {"id": "RO", "kind": "readout", "channels": ["A", "B"]})
    recalled.fault = recalled.fault | {"item": "RO", "kind": "readout_gain", "gain": "1.001"}
    recalled.fault.pop("delta_rel")
    recalled.fault["channel"] = "A"
    assert recalled.report()["stale"] is False
    address = "/v1/items/RO"
    for channels, stale in ((["B"], True), (["A", "B"], False)):
        etag = recalled.client.get(address).headers["ETag"]
        changed = {"channels": channels}
        recalled.client.patch(address, json=changed, headers={"If-Match": etag})
        recheck()
        shown = recalled.shown(2)
        assert shown["stale"] is stale
        if stale:
            assert "channel" in shown["staleness"]["differences"]["impossible"]


def test_a_new_engine_compares_every_recall_once(recalled, database, recheck):
    with database.write() as session:
        session.execute(sa.update(RecallWatch).values(engine_version="0.0.0"))
    assert recalled.shown()["stale"] == "checking"
    assert recheck() == {1: False}
    assert recheck() == {}


def test_one_process_compares_for_all(recalled, database):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    assert leases.take(database, rechecking.WORK, "another", NOW, rechecking.LEASE_US)
    assert list(rechecking.recheck_leased(database, "this", lambda: NOW)) == []
    leases.release(database, rechecking.WORK, "another")
    assert list(rechecking.recheck_leased(database, "this", lambda: NOW)) == [("R-00001", True)]
    assert leases.is_free(database, rechecking.WORK, NOW, rechecking.LEASE_US)
