"""A backup made while servers write is whole, and comes back on either engine."""

from __future__ import annotations

import json
import sqlite3
import threading
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.app import create_app
from api.services.upkeep.verification import verify
from api.settings import Settings
from api.store import backup
from api.store.database import Database
from api.store.tables import Base, Customer

DEMO = Path(__file__).parents[3] / "fixtures" / "demo_lab"


def work(client):
    """Record certificates, a decision and a recall; notes with signs of every kind."""
    story = json.loads((DEMO / "story.json").read_text())
    posts = [
        ("/v1/imports", json.loads((DEMO / "laboratory.json").read_text())),
        ("/v1/recalls", {"fault": story["fault"]}),
        (
            "/v1/decisions",
            {"value": "10.010", "U": "0.0040", "unit": "kN", "limits": {"upper": "10.015"}}
            | {"rule": "guard_U"},
        ),
        ("/v1/customers", {"name": "Žofie, Ærø & Søn", "note": 'quote " and\nline, ∆F ≤ 1'}),
    ]
    for path, body in posts:
        assert client.post(path, json=body).status_code == 201


@pytest.fixture
def worked(once, database):
    """A laboratory in which there is something of everything."""
    once(work)
    return database


def everything(database):
    """Every row of every table, as the program reads it."""
    with database.read() as session:
        return {
            table.name: sorted(map(repr, session.execute(sa.select(table)).all()))
            for table in Base.metadata.sorted_tables
        }


def test_a_backup_restored_on_either_engine_is_the_same_to_the_last_row(
    worked, empty_url, tmp_path
):
    file = tmp_path / "kept.backup"
    before = everything(worked)
    backup.back_up(worked, file)
    restored = Database(empty_url)
    backup.restore(file, restored)
    assert everything(restored) == before
    with restored.read() as session:
        assert verify(session).findings == []
    assert not file.with_name("kept.backup.partial").exists()
    restored.dispose()


def test_work_goes_on_in_a_restored_database(worked, keys, empty_url, tmp_path):
    token = keys.token()
    file = tmp_path / "kept.backup"
    backup.back_up(worked, file)
    restored = Database(empty_url)
    backup.restore(file, restored)
    client = create_app(Settings(), restored).test_client()
    made = client.post(
        "/v1/customers",
        json={"name": "A new one"},
        headers={"Authorization": f"Bearer {token}"},
    )
    assert made.status_code == 201
    with restored.read() as session:
        assert verify(session).findings == []
    restored.dispose()


def test_a_backup_made_while_others_write_holds_whole_transactions(database, tmp_path):
    stop = threading.Event()

    def write():
        n = 0
        while not stop.is_set():
            with database.write() as session:
                session.add_all(Customer(name=f"{n} {half}", version=1) for half in "ab")
            n += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for n in range(5):
            backup.back_up(database, tmp_path / f"{n}.backup")
    finally:
        stop.set()
        writer.join()
    for n in range(5):
        with sqlite3.connect(tmp_path / f"{n}.backup") as copy:
            names = [name for (name,) in copy.execute("SELECT name FROM customer")]
        copy.close()
        assert len(names) % 2 == 0
        assert {name[-1] for name in names} <= {"a", "b"}


def test_a_file_that_is_there_is_not_overwritten(database, tmp_path):
    file = tmp_path / "kept.backup"
    file.write_text("precious")
    with pytest.raises(backup.BackupError, match="exists already"):
        backup.back_up(database, file)
    assert file.read_text() == "precious"


def test_a_database_with_something_in_it_is_not_overwritten(database, tmp_path):
    backup.back_up(database, tmp_path / "kept.backup")
    with pytest.raises(backup.BackupError, match="not empty"):
        backup.restore(tmp_path / "kept.backup", database)


@pytest.mark.parametrize("content", [b"", b"not a database at all", b"SQLite format 3\0" * 512])
def test_what_is_no_backup_is_refused_and_restores_nothing(content, empty_url, tmp_path):
    file = tmp_path / "kept.backup"
    file.write_bytes(content)
    restored = Database(empty_url)
    with pytest.raises(backup.BackupError):
        backup.restore(file, restored)
    assert sa.inspect(restored.engine).get_table_names() == []
    restored.dispose()


def test_a_damaged_backup_is_refused(worked, empty_url, tmp_path):
    file = tmp_path / "kept.backup"
    backup.back_up(worked, file)
    content = bytearray(file.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 8192] = b"\xff" * 8192
    file.write_bytes(content)
    restored = Database(empty_url)
    with pytest.raises(backup.BackupError):
        backup.restore(file, restored)
    restored.dispose()
