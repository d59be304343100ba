"""Parquet and Arrow keep their types; what would not fit is refused before it is unpacked."""

from __future__ import annotations

import io
import json
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import InvalidRecord
from api.services.batches import format_arrow, parquet_sizes

ENDINGS = [".parquet", ".arrow"]
SIZE = 1_000


def packed(table: pa.Table, ending: str, **options) -> bytes:
    sink = io.BytesIO()
    if ending == ".parquet":
        pq.write_table(table, sink, **options)
    else:
        with pa.ipc.new_stream(sink, table.schema, options=pa.ipc.IpcWriteOptions(**options)) as w:
            w.write_table(table)
    return sink.getvalue()


def unpacked(data: bytes, ending: str) -> pa.Table:
    source = io.BytesIO(data)
    return pq.read_table(source) if ending == ".parquet" else pa.ipc.open_stream(source).read_all()


def table_of(size: int = 4, **more) -> pa.Table:
    columns = {"value": [0.3] * size, "U": [0.2] * size, "upper": [0.5] * size}
    return pa.table({**columns, **more})


@pytest.mark.parametrize("ending", ENDINGS)
def test_columns_keep_their_types_and_answers_stand_behind_them(through, ending):
    sent = table_of(
        id=["007", None, "=1", ""],
        at=pa.array([0, 1, 2, None], pa.timestamp("ms", "UTC")),
        kind=pa.array(["a", "b", "a", None]).dictionary_encode(),
        list=[[1], None, [], [2, 3]],
    )
    got = unpacked(through(packed(sent, ending), ending, rule="guard_U"), ending)
    assert got.select(sent.column_names).cast(sent.schema) == sent
    assert got["verdict"].to_pylist() == ["pass"] * 4
    # 0.5 - 0.2 is 0.3 and not 0.30000000000000004 or below
    assert got["acceptance_upper"].to_pylist() == [0.3] * 4
    assert got.schema.field("acceptance_lower").type == pa.float64()


@pytest.mark.parametrize("ending", ENDINGS)
def test_decimals_are_exact_and_come_back_as_text(through, ending):
    kind = pa.decimal128(30, 20)
    cells = {"value": "0.30000000000000000001", "U": "0.2", "upper": "0.5"}
    sent = pa.table({name: pa.array([Decimal(text)], kind) for name, text in cells.items()})
    got = unpacked(through(packed(sent, ending), ending, rule="guard_U"), ending).to_pylist()[0]
    assert (got["verdict"], Decimal(got["acceptance_upper"])) == ("fail", Decimal("0.3"))


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_bad_row_comes_back_with_its_place(through, ending):
    sent = table_of().set_column(1, "U", pa.array([0.2, -1.0, None, float("nan")]))
    got = unpacked(through(packed(sent, ending), ending), ending).to_pylist()
    assert [row["error_line"] for row in got] == [None, 2, 3, 4]
    assert [row["error"] for row in got[1:]] == [
        "-1.0 is smaller than 0",
        "a number is needed",
        "not a decimal number",
    ]


@pytest.mark.parametrize("ending", ENDINGS)
def test_many_batches_keep_their_order_and_lines(through, ending, monkeypatch):
    monkeypatch.setattr(format_arrow, "ROWS", 64)
    values = [float(place % 10) for place in range(SIZE)]
    sent = table_of(SIZE, id=[f"{place:04d}" for place in range(SIZE)])
    sent = sent.set_column(0, "value", pa.array([None, *values[1:]]))
    data = packed(sent, ending, **({"row_group_size": 300} if ending == ".parquet" else {}))
    got = unpacked(through(data, ending), ending)
    assert got["id"].to_pylist() == sent["id"].to_pylist()
    assert got["error_line"][0].as_py() == 1
    lines = through(data, ending, ".ndjson").splitlines()
    assert json.loads(lines[0])["error_line"] == 1
    assert json.loads(lines[-1])["summary"]["rows"] == SIZE


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("cut", [0, 3, 10, 500, -7])
def test_what_is_cut_or_no_such_file_is_refused_with_a_remedy(through, ending, cut):
    data = packed(table_of(SIZE), ending)[:cut]
    with pytest.raises(InvalidRecord, match="cannot be read") as refused:
        through(data, ending)
    assert refused.value.issues[0].remedy
    with pytest.raises(InvalidRecord, match="cannot be read"):
        through(b"id,value\n" * 9, ending)


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_heading_that_cannot_be_used_is_refused(through, ending):
    for sent in (table_of(uper=[1.0] * 4), table_of(verdict=[""] * 4), table_of().drop(["U"])):
        with pytest.raises(InvalidRecord, match="columns cannot be used"):
            through(packed(sent, ending), ending)


def test_one_long_text_is_not_repeated_in_memory_to_find_out(through):
    rows = 100_000
    note = pa.DictionaryArray.from_arrays(pa.array([0] * rows, pa.int32()), ["x" * 60_000])
    data = packed(table_of(rows, note=note), ".parquet", store_schema=False)
    before = pa.total_allocated_bytes()
    pa.default_memory_pool().release_unused()
    with pytest.raises(InvalidRecord, match=r"its texts hold \d{10} bytes"):
        through(data, ".parquet")
    assert pa.total_allocated_bytes() - before < 64 << 20


def test_cells_row_groups_and_rows_beyond_all_measure_are_refused(through, monkeypatch):
    long = table_of(note=["x" * 70_000, "", "", ""])
    with pytest.raises(InvalidRecord, match="longer than 65536"):
        through(packed(long, ".parquet"), ".parquet")
    with monkeypatch.context() as patch:
        patch.setattr(parquet_sizes, "LARGEST_GROUP", 1_000)
        data = packed(table_of(SIZE, x=range(SIZE)), ".parquet")
        with pytest.raises(InvalidRecord, match="row group 0"):
            through(data, ".parquet")
    nothing = pa.nulls(200_000_000)
    empty = pa.table({"value": nothing, "U": nothing})
    for ending in ENDINGS:
        with pytest.raises(InvalidRecord, match="stand for 200000000 rows"):
            through(packed(empty, ending), ending)


def test_nested_columns_are_refused_where_the_answer_is_csv(through):
    sent = table_of(list=[[1], [2], [3], [4]])
    with pytest.raises(InvalidRecord, match="nested"):
        through(packed(sent, ".arrow"), ".arrow", ".csv")
