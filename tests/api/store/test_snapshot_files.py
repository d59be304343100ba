"""A snapshot on disk: one state of the records, whole or not there, described by its manifest."""

from __future__ import annotations

import hashlib
import json

import pyarrow.parquet as pq
import pytest
from oracle_cases import cal, lab, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store import snapshot_files
from api.store.snapshot_files import FILES, SnapshotError, file_in, write


def recorded(session, *calibrations):
    import_laboratory(session, LaboratorySchema().load(lab(*calibrations)), 0)


@pytest.fixture
def filled(database):
    with database.write() as session:
        recorded(
            session,
            cal("W-1", "WS", "01-10", []),
            cal("C-1", "A", "02-01", [ref("WS", "0.50")], [row("1.2300"), row("2", point=2)]),
        )
    return database


def test_numbers_keep_their_digits_and_links_stand_by_what_they_lead_away_from(filled, tmp_path):
    with filled.read() as session:
        write(session, tmp_path / "s", {})
    results = pq.read_table(file_in(tmp_path / "s", "result")).to_pylist()
    assert [(one["applied"], one["position"]) for one in results if one["certificate_id"] == 2] == [
        ("1.2300", 0),
        ("2", 1),
    ]
    (use,) = pq.read_table(file_in(tmp_path / "s", "use")).to_pylist()
    assert json.loads(use["weight"]) == "0.50"
    links = pq.read_table(file_in(tmp_path / "s", "use_by_source")).to_pylist()
    assert links == [{"source_id": use["source_id"], "certificate_id": 2}]


def test_the_manifest_tells_rows_sizes_and_hashes(filled, tmp_path):
    with filled.read() as session:
        made = write(session, tmp_path / "s", {"as_of": "2030-01-01T00:00:00Z"})
    assert json.loads((tmp_path / "s" / "manifest.json").read_text()) == made
    assert (made["format"], made["as_of"]) == (4, "2030-01-01T00:00:00Z")
    for name in FILES:
        content = file_in(tmp_path / "s", name).read_bytes()
        assert made["files"][name]["bytes"] == len(content)
        assert made["files"][name]["sha256"] == hashlib.sha256(content).hexdigest()
    assert made["files"]["certificate"]["rows"] == 2
    assert {path.name for path in tmp_path.iterdir()} == {"s", *_database(tmp_path)}


def _database(folder):
    return {path.name for path in folder.iterdir() if path.name.startswith("laboratory")}


def test_what_is_recorded_while_it_is_written_is_not_in_it(filled, tmp_path, monkeypatch):
    plain = snapshot_files._write_file

    def after_a_write(session, folder, name):
        made = plain(session, folder, name)
        if name == "item":  # the snapshot has begun
            with filled.write() as other:
                recorded(other, cal("C-2", "B", "03-01", [ref("WS")]))
        return made

    monkeypatch.setattr(snapshot_files, "_write_file", after_a_write)
    with filled.read() as session:
        made = write(session, tmp_path / "s", {})
    assert (made["files"]["certificate"]["rows"], made["files"]["use"]["rows"]) == (2, 1)


def test_rows_come_in_groups_in_the_order_of_their_key(filled, tmp_path, monkeypatch):
    monkeypatch.setattr(snapshot_files, "ROWS_A_GROUP", 2)
    with filled.write() as session:
        recorded(session, *(cal(f"D-{n}", f"I-{n}", "03-02", [ref("WS")]) for n in range(5)))
    with filled.read() as session:
        write(session, tmp_path / "s", {})
    file = pq.ParquetFile(file_in(tmp_path / "s", "certificate"))
    assert file.metadata.num_row_groups == 4  # seven certificates
    assert file.read().column("id").to_pylist() == [1, 2, 3, 4, 5, 6, 7]


def test_a_folder_that_is_there_is_left_alone(filled, tmp_path):
    (tmp_path / "s").mkdir()
    with filled.read() as session, pytest.raises(SnapshotError, match="exists already"):
        write(session, tmp_path / "s", {})
    assert list((tmp_path / "s").iterdir()) == []


def test_a_snapshot_that_breaks_off_leaves_nothing(filled, tmp_path, monkeypatch):
    def full(session, folder, name):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(snapshot_files, "_write_file", full)
    before = set(tmp_path.iterdir())
    with filled.read() as session, pytest.raises(OSError, match="No space"):
        write(session, tmp_path / "s", {})
    assert set(tmp_path.iterdir()) == before
