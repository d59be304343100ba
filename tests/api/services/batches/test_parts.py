"""A batch in parts: which files, in which order, and which of them do not belong together."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import polars as pl
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord
from api.schemas.batches import row_fault
from api.services.batches.batches import Batch
from api.services.batches.formats import CSV, writer_of
from api.services.batches.parts import (
    Job,
    Joined,
    Part,
    decide_part,
    deciding,
    natural,
    parts_of,
    pieces_of,
)
from api.version import VERSION

HEADING = "id,value,U,upper,rule\n"
GOOD = "a,1,0.1,2,guard_U\n"


@pytest.fixture
def files(tmp_path):
    """Write files of the given names and contents; return the pattern of all of them."""

    def written(**contents: str) -> str:
        for name, content in contents.items():
            (tmp_path / f"{name}.csv").write_text(content)
        return str(tmp_path / "*.csv")

    return written


def decided(parts: list[Part]) -> str:
    how = deciding([], None, row_fault)
    return b"".join(Batch(pieces_of(parts, CSV, CSV), how, writer_of(CSV))).decode()


def job(part: Path, target: Path, name: str | None = None) -> Job:
    return Job(VERSION, str(part), name, str(target), [], None, False, False, True)


def test_numbers_in_names_count_as_numbers():
    names = ["b1", "a10", "a9", "a09", "a", "a9b", "10", "9"]
    assert sorted(names, key=natural) == ["9", "10", "a", "a09", "a9", "a9b", "a10", "b1"]


def test_parts_come_in_the_order_of_their_names_and_folders_are_no_parts(files, tmp_path):
    pattern = files(p10=HEADING, p9=HEADING, p1=HEADING)
    (tmp_path / "p2.csv").mkdir()
    assert [part.path.name for part in parts_of(pattern)] == ["p1.csv", "p9.csv", "p10.csv"]


def test_a_pattern_without_files_or_of_several_kinds_is_refused(files, tmp_path):
    with pytest.raises(InvalidRecord, match="no file is named"):
        parts_of(str(tmp_path / "none-*.csv"))
    files(one=HEADING)
    (tmp_path / "two.parquet").touch()
    with pytest.raises(InvalidRecord, match=r"these are \.csv, \.parquet"):
        parts_of(str(tmp_path / "*"))
    (tmp_path / "two.json").touch()
    with pytest.raises(InvalidRecord, match=r"these are \.json"):
        parts_of(str(tmp_path / "*.json"))


def test_the_rows_of_parts_follow_each_other_under_one_heading(files):
    answer = decided(parts_of(files(p1=HEADING + GOOD, p2=HEADING, p3=HEADING + GOOD * 2)))
    lines = answer.splitlines()
    assert len(lines) == 4
    assert lines[0].startswith("id,value,U,upper,rule,verdict,")
    assert lines[1:] == [lines[1]] * 3


def test_a_row_in_error_names_its_part_line_and_reason(files):
    pattern = files(p1=HEADING + GOOD, p2=HEADING + GOOD + "b,ten,0.1,2,guard_U\n")
    parts = parts_of(pattern)
    found = pl.read_csv(decided(parts).encode(), infer_schema=False).to_dicts()
    assert [row["error_file"] for row in found] == [None, None, parts[1].name]
    assert (found[2]["error_line"], found[2]["error_field"]) == ("3", "value")
    assert found[2]["error"] == "not a decimal number"


@pytest.mark.parametrize(
    ("second", "said"),
    [
        ("id,value,U,upper,rule,lot\n", "lot (String) is more in"),
        ("id,value,U,upper\n", "rule (String) is missing in"),
        ("value,id,U,upper,rule\n", "the columns stand in another order"),
    ],
)
def test_a_part_with_other_columns_is_refused(files, second, said):
    with pytest.raises(InvalidRecord, match=r"p2\.csv has other columns than .*p1\.csv") as refused:
        decided(parts_of(files(p1=HEADING + GOOD, p2=second)))
    assert said in refused.value.issues[0].detail


def test_a_part_that_cannot_be_read_is_named(files):
    with pytest.raises(InvalidRecord, match=r"p2\.csv: The CSV cannot be read"):
        decided(parts_of(files(p1=HEADING, p2="")))


def test_the_column_that_names_the_part_cannot_come_in(files):
    with pytest.raises(InvalidRecord, match="'error_file' is an answer"):
        decided(parts_of(files(p1="value,U,error_file\n")))


def test_a_part_decided_again_is_the_same_and_leaves_nothing_beside_it(files, tmp_path):
    files(p1=HEADING + GOOD)
    folder = tmp_path / "out"
    folder.mkdir()
    asked = job(tmp_path / "p1.csv", folder / "p1.parquet")
    first = decide_part(asked, row_fault)
    content = (folder / "p1.parquet").read_bytes()
    assert decide_part(asked, row_fault) == first
    assert (folder / "p1.parquet").read_bytes() == content
    assert [one.name for one in folder.iterdir()] == ["p1.parquet"]


def test_another_version_does_not_decide(tmp_path):
    asked = replace(job(tmp_path / "p1.csv", tmp_path / "out.csv"), version="0.0.9")
    with pytest.raises(InvalidRecord, match=rf"a worker has version {VERSION}.* 0\.0\.9"):
        decide_part(asked, row_fault)


def test_joined_parquet_has_the_totals_of_all_parts(files, tmp_path):
    parts = parts_of(files(p1=HEADING + GOOD, p2=HEADING + GOOD + "b,ten,0.1,2,guard_U\n"))
    targets = [tmp_path / f"{place}.parquet" for place in range(2)]
    jobs = [job(one.path, target, one.name) for one, target in zip(parts, targets, strict=True)]
    joined = Joined(parts, targets, (decide_part(one, row_fault) for one in jobs), False)
    whole = tmp_path / "whole.parquet"
    whole.write_bytes(b"".join(joined))
    totals = {"rows": 3, "decided": 2, "refused": 1}
    assert totals.items() <= joined.totals.summary.items()
    assert (
        json.loads(pq.read_metadata(whole).metadata[b"tracehold_summary"]) == joined.totals.summary
    )
    assert pq.read_table(whole)["error_file"].to_pylist() == [None, None, parts[1].name]
    assert not any(target.exists() for target in targets)
