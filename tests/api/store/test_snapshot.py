"""A snapshot that is read: keys joined with the rows of a file, and what is no snapshot.

That it answers as the database does is shown in tests/whole/test_recall_from_snapshot.py.
"""

from __future__ import annotations

import json

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.store.snapshot import Snapshot, joined
from api.store.snapshot_files import FILES, SnapshotError, file_in, write


@pytest.fixture
def folder(database, tmp_path):
    """A snapshot of an empty laboratory."""
    with database.read() as session:
        write(session, tmp_path / "s", {"time_zone": None})
    return tmp_path / "s"


@settings(deadline=None)
@given(st.lists(st.integers(-9, 9)).map(sorted), st.sets(st.integers(-12, 12)), st.integers(1, 4))
def test_a_join_finds_every_row_of_its_keys_in_any_group(tmp_path_factory, column, keys, size):
    path = tmp_path_factory.mktemp("keyed") / "file.parquet"
    rows = {"key": column, "place": list(range(len(column)))}
    schema = pa.schema({"key": pa.int64(), "place": pa.int64()})
    pq.write_table(pa.table(rows, schema=schema), path, row_group_size=size)
    expected = [(place,) for place, key in enumerate(column) if key in keys]
    assert joined(path, "key", keys, ["place"]).rows() == expected


def test_a_folder_without_manifest_is_no_snapshot(tmp_path):
    with pytest.raises(SnapshotError, match="holds no snapshot"):
        Snapshot(tmp_path)


def test_another_format_is_refused(folder):
    manifest = folder / "manifest.json"
    manifest.write_text(json.dumps(json.loads(manifest.read_text()) | {"format": 99}))
    with pytest.raises(SnapshotError, match="of format 99, this version reads 4; take it again"):
        Snapshot(folder)


def test_a_file_that_is_missing_or_cut_off_is_noticed_at_once(folder):
    file = file_in(folder, "use")
    whole = file.read_bytes()
    file.write_bytes(whole[:-1])
    with pytest.raises(SnapshotError, match=r"use\.parquet is missing or cut off"):
        Snapshot(folder)
    file.unlink()
    with pytest.raises(SnapshotError, match="missing"):
        Snapshot(folder)


def test_a_changed_byte_is_found_by_the_hashes(folder):
    assert Snapshot(folder).damaged() == []
    file = file_in(folder, "result")
    changed = bytearray(file.read_bytes())
    changed[len(changed) // 2] ^= 1
    file.write_bytes(changed)
    assert Snapshot(folder).damaged() == ["result.parquet"]


def test_an_empty_laboratory_is_a_snapshot_too(folder):
    snapshot = Snapshot(folder)
    assert all(one["rows"] == 0 for name, one in snapshot.manifest["files"].items())
    assert set(snapshot.manifest["files"]) == set(FILES)
    assert snapshot.item("REF") is None
    assert snapshot.everything_downward([1]) == {1}
    assert snapshot.certificate_in_force(1, 0) is None
