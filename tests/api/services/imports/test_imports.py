"""Imports at the same time: the second waits for the first, and both come out right."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from oracle_cases import cal, lab, ref
from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from api.errors import Conflict
from api.schemas.imports import LaboratorySchema
from api.services.base.recording import begin, record_one
from api.services.imports.imports import import_laboratory
from api.services.records import items as recorded_items
from api.store.database import Database
from api.store.tables import Certificate, Usage


def load(laboratory: dict[str, Any]) -> dict[str, Any]:
    return LaboratorySchema().load(laboratory)


def put(database: Database, laboratory: dict[str, Any]) -> dict[str, Any]:
    with database.write() as session:
        return import_laboratory(session, load(laboratory), 0)


def all_at_once(*jobs: Any) -> list[Any]:
    """Run jobs in threads that start together; results or exceptions, in the order of the jobs."""
    barrier = threading.Barrier(len(jobs))
    done: list[Any] = [None] * len(jobs)

    def run(place: int, job: Any) -> None:
        barrier.wait()
        try:
            done[place] = job()
        except Exception as error:
            done[place] = error

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return done


def links(database: Database) -> dict[str, str | None]:
    """For every user: the number of the certificate that was in force."""
    source = aliased(Certificate)
    with database.read() as session:
        rows = session.execute(
            select(Certificate.number, source.number)
            .join(Usage, Usage.certificate_id == Certificate.id)
            .outerjoin(source, source.id == Usage.source_id)
        )
        return {row[0]: row[1] for row in rows}


def test_the_second_import_waits_until_the_first_is_done(database):
    inside, go_on = threading.Event(), threading.Event()
    order: list[str] = []

    def first() -> None:
        with database.write() as session:
            begin(session, 0)
            inside.set()
            assert go_on.wait(20)
            order.append("first")

    def second() -> None:
        assert inside.wait(20)
        with database.write() as session:
            begin(session, 0)
            order.append("second")

    threads = [threading.Thread(target=job) for job in (first, second)]
    for thread in threads:
        thread.start()
    assert inside.wait(20)
    threads[1].join(0.3)
    assert order == []
    go_on.set()
    for thread in threads:
        thread.join(20)
    assert order == ["first", "second"]


@pytest.mark.parametrize("attempt", range(3))
def test_a_reference_and_its_user_imported_at_once_find_each_other(database, attempt):
    put(database, lab(cal("BEFORE", "WS", "01-01", [])) | {"items": items("WS", "A", "B")})
    reference = {"calibrations": [cal("W-1", "WS", "01-10", [])]}
    users = {"calibrations": [cal("C-1", "A", "02-01", [ref("WS")])]}
    others = {"calibrations": [cal("C-2", "B", "02-02", [ref("WS")])]}
    done = all_at_once(*[lambda one=one: put(database, one) for one in (users, reference, others)])
    assert all(isinstance(one, dict) for one in done), done
    assert links(database) == {"C-1": "W-1", "C-2": "W-1"}


def items(*codes: str) -> list[dict[str, str]]:
    return [{"id": code, "kind": "working_standard"} for code in codes]


def test_the_same_file_imported_at_once_is_recorded_once(database):
    made = lab(cal("W-1", "WS", "01-10", [], customer="C"), cal("C-1", "A", "02-01", [ref("WS")]))
    done = all_at_once(*[lambda: put(database, made)] * 4)
    created = sorted(one["created"]["calibrations"] for one in done)
    assert created == [0, 0, 0, 2]
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(Certificate)) == 2


def test_two_issued_revisions_at_once_leave_one(database):
    put(database, {"items": items("WS")})
    done = all_at_once(
        *[
            lambda n=n: put(database, {"calibrations": [cal("W", "WS", "01-10", [], revision=n)]})
            for n in range(3)
        ]
    )
    assert sum(isinstance(one, dict) for one in done) == 1, done
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(Certificate)) == 1


def test_a_record_that_clashes_stores_nothing_of_its_file(database):
    put(database, {"items": items("WS")})
    changed = {"items": [{"id": "WS", "kind": "adapter"}, {"id": "NEW", "kind": "adapter"}]}
    with pytest.raises(Conflict):
        put(database, changed)
    assert put(database, {"items": items("NEW")})["created"]["items"] == 1


def test_one_record_by_itself_has_pointers_of_its_own(database):
    with database.write() as session:
        outcome = record_one(
            session, recorded_items.COLLECTION, load({"items": items("A")})["items"][0], 0
        )
    assert (outcome.created, outcome.unchanged) == (1, 0)


def test_an_import_in_several_lots_links_across_them(database, monkeypatch):
    monkeypatch.setattr("api.services.certificates.calibrations.LOT", 3)
    put(
        database,
        lab(*[cal(f"C-{n}", f"I-{n}", f"0{n + 1}-01", [ref(f"I-{n - 1}")]) for n in range(8)]),
    )
    assert links(database) == {f"C-{n}": f"C-{n - 1}" if n else None for n in range(8)}
