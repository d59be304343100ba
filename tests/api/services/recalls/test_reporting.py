"""A recall is stored so that nothing written while it was worked out is lost."""

from __future__ import annotations

import threading
from contextlib import contextmanager

import pytest
from oracle_cases import cal, ref

from api.services.recalls import recalls, reporting

NOW = 1_893_456_000_000_000


def report(recalled, database, reading, **more):
    request = {"fault": recalled.fault} | more
    return reporting.reported(reading, database.write, request, lambda: NOW)


def writing_after(database, *writes):
    """A way to open a snapshot after each of which, once it is closed, the next write happens."""
    waiting = list(writes)
    opened = []

    @contextmanager
    def reading():
        with database.read() as session:
            yield session
        opened.append(1)
        if waiting:
            waiting.pop(0)()

    return reading, opened


def certificates(answer):
    return [one.rank[1] for one in answer.lists["affected"]]


def test_a_certificate_recorded_in_between_is_found(recalled, database):
    def write():
        recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))

    reading, opened = writing_after(database, write)
    answer, head = report(recalled, database, reading)
    assert "C-3" in certificates(answer)
    assert head["stale"] is False
    assert len(opened) == 2
    assert recalled.shown(head["id"])["summary"]["affected"] == 4


def test_a_void_and_a_check_in_between_are_not_overlooked_either(recalled, database):
    def void():
        recalled.post("/v1/certificates/C-2/void", {"reason": "wrong sheet"})

    def check():
        body = {"id": "K", "item": "REF", "at": "2025-01-05", "result": "fail"}
        recalled.post("/v1/checks", body)

    reading, opened = writing_after(database, void, check)
    answer, head = report(recalled, database, reading)
    assert certificates(answer) == ["W-1", "C-1"]
    assert [one["check"] for one in answer.head["window"]["checks"]] == ["K"]
    assert (head["stale"], len(opened)) == (False, 3)


def test_what_does_not_concern_it_makes_no_second_attempt(recalled, database):
    def write():
        recalled.record(cal("Z-1", "X", "05-01", [ref("GOOD")]))

    reading, opened = writing_after(database, write)
    assert report(recalled, database, reading)[1]["stale"] is False
    assert len(opened) == 1


def test_overtaken_again_and_again_it_is_stored_as_waiting(recalled, database, recheck):
    def record(number):
        return lambda: recalled.record(cal(number, "X", "05-01", [ref("WS")]))

    reading, opened = writing_after(database, *map(record, ("C-3", "C-4", "C-5")))
    answer, head = report(recalled, database, reading)
    assert len(opened) == reporting.ATTEMPTS == 3
    assert certificates(answer)[-2:] == ["C-3", "C-4"]
    assert head["stale"] == recalled.shown(head["id"])["stale"] == "checking"
    assert recalled.state("C-5") == "under_review"
    recheck()
    added = recalled.shown(head["id"])["staleness"]["differences"]["added"]["certificates"]
    assert [one["certificate"] for one in added] == ["C-5"]


def test_under_an_idempotency_key_it_is_stored_once_and_complete(recalled, monkeypatch):
    look, writes = reporting.look, [lambda: recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))]

    def looked(*asked):
        found = look(*asked)
        if writes:
            other = threading.Thread(target=writes.pop())  # another request
            other.start()
            other.join()
        return found

    monkeypatch.setattr(reporting, "look", looked)
    sent = {"json": {"fault": recalled.fault}, "headers": {"Idempotency-Key": "one"}}
    first, second = (recalled.client.post("/v1/recalls", **sent) for _ in range(2))
    assert (first.status_code, second.text) == (201, first.text)
    assert [one["certificate"] for one in first.get_json()["affected"]][-1] == "C-3"
    assert (first.get_json()["id"], first.get_json()["stale"]) == (2, False)


def test_an_answer_that_was_overtaken_is_refused_by_the_store(recalled, database):
    with database.read() as session:
        looked = reporting.look(session, {"fault": recalled.fault}, NOW)
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    with pytest.raises(recalls.Overtaken), database.write() as session:
        recalls.store(session, looked.answer, None, NOW, looked.read_at)
    assert [one["id"] for one in recalled.client.get("/v1/recalls").get_json()["items"]] == [1]
