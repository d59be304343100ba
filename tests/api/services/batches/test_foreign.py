"""Columns of other types than numbers and text are refused row by row, in every format."""

from __future__ import annotations

import datetime as dt
import doctest
import io

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


@pytest.mark.parametrize("name", ["value", "U", "upper", "k"])
@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_number_is_never_judged(client, kind, column, name):
    numbers = {one: pa.array(["10", "10"]) for one in ("value", "U", "upper", "k")}
    table = pa.table(numbers | {name: COLUMNS[column], "rule": pa.array(["simple"] * 2)})
    headers = {"Content-Type": KINDS[kind], "Accept": KINDS[kind]}
    answer = client.post("/v1/batches", data=written(table, kind), headers=headers)
    assert answer.status_code == 200, answer.text
    source = io.BytesIO(answer.data)
    found = pq.read_table(source) if kind == "parquet" else pa.ipc.open_stream(source).read_all()
    assert found["verdict"][0].as_py() is None
    assert found["error_field"][0].as_py() == name


def test_the_examples_hold():
    assert doctest.testmod(foreign).failed == 0
