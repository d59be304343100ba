"""Columns of other types than numbers and text are refused row by row, in every format."""

from __future__ import annotations

import datetime as dt
import doctest
import io
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.services.batches import foreign

COLUMNS = {
    "duration": pa.array([dt.timedelta(1), None]),
    "binary": pa.array([b"10", b"10"]),
    "fixed binary": pa.array([b"10", b"10"], pa.binary(2)),
    "list": pa.array([[10], [10]]),
    "struct": pa.array([{"a": 10}, {"a": 10}]),
    "date": pa.array([dt.date(2020, 1, 1), None]),
    "time": pa.array([dt.time(10), None]),
    "timestamp": pa.array([dt.datetime(2020, 1, 1, tzinfo=dt.UTC), None]),
    "flag": pa.array([True, False]),
    "uuid": pa.ExtensionArray.from_storage(pa.uuid(), pa.array([b"0" * 16] * 2, pa.binary(16))),
    "interval": pa.array([pa.MonthDayNano([1, 1, 1]), None]),
}
KINDS = {
    "parquet": "application/vnd.apache.parquet",
    "arrow": "application/vnd.apache.arrow.stream",
}


def written(table: pa.Table, kind: str) -> bytes:
    sink = io.BytesIO()
    if kind == "parquet":
        pq.write_table(table, sink)
    else:
        with pa.ipc.new_stream(sink, table.schema) as writer:
            writer.write_table(table)
    return sink.getvalue()


def decided(client, table: pa.Table, kind: str) -> pa.Table:
    headers = {"Content-Type": KINDS[kind], "Accept": KINDS[kind]}
    answer = client.post("/v1/batches", data=written(table, kind), headers=headers)
    assert answer.status_code == 200, answer.text
    source = io.BytesIO(answer.data)
    return pq.read_table(source) if kind == "parquet" else pa.ipc.open_stream(source).read_all()


@pytest.mark.parametrize("name", ["value", "U", "upper", "k"])
@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_number_is_never_judged(client, kind, column, name):
    if (kind, column) == ("parquet", "interval"):
        pytest.skip("Parquet has no such type")
    numbers = {one: pa.array(["10", "10"]) for one in ("value", "U", "upper", "k")}
    table = pa.table(numbers | {name: COLUMNS[column], "rule": pa.array(["simple"] * 2)})
    found = decided(client, table, kind)
    assert found["verdict"][0].as_py() is None
    assert found["error_field"][0].as_py() == name


NOTES = COLUMNS | {
    "nothing": pa.nulls(2),
    "views": pa.array(["x", "y"], pa.string_view()),
    "wide decimals": pa.array([Decimal(10), Decimal(10)], pa.decimal256(50, 2)),
}


@pytest.mark.parametrize("column", NOTES)
@pytest.mark.parametrize("kind", KINDS)
def test_any_other_column_is_passed_through(client, kind, column):
    if (kind, column) == ("parquet", "interval"):
        pytest.skip("Parquet has no such type")
    numbers = {name: pa.array(["10", "10"]) for name in ("value", "U", "upper")}
    table = pa.table(numbers | {"note": NOTES[column], "rule": pa.array(["simple"] * 2)})
    found = decided(client, table, kind)
    assert found["verdict"].to_pylist() == ["pass", "pass"]
    assert found["note"].to_pylist() == NOTES[column].to_pylist()


def test_what_a_frame_cannot_hold_is_refused_where_text_is_wanted(client):
    numbers = {name: pa.array(["10", "10"]) for name in ("value", "U", "upper")}
    table = pa.table(numbers | {"note": COLUMNS["interval"], "rule": pa.array(["simple"] * 2)})
    headers = {"Content-Type": KINDS["arrow"], "Accept": "text/csv"}
    answer = client.post("/v1/batches", data=written(table, "arrow"), headers=headers)
    assert answer.status_code == 422, answer.text
    assert "month_day_nano_interval" in answer.text


@pytest.mark.parametrize("kind", KINDS)
def test_a_decimal_of_any_width_is_a_number(client, kind):
    wide = pa.array([Decimal("10.25"), None], pa.decimal256(50, 2))
    table = pa.table({"value": wide, "U": ["1"] * 2, "upper": ["11"] * 2, "rule": ["simple"] * 2})
    assert decided(client, table, kind)["verdict"].to_pylist() == ["pass", None]


def test_the_examples_hold():
    assert doctest.testmod(foreign).failed == 0
