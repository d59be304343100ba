"""A number that is missing is never judged: every way in, every type of column, every mark for it.

A statement of conformity rests on a result and its uncertainty (ISO/IEC 17025:2017, 7.8.6.1 and
3.7; from memory). Where one of them is not there, no verdict may be given, and the row says which
column and why. The rows beside it are the commonest ones and are decided, so that a missing number
cannot hide among them.
"""

from __future__ import annotations

import io
import json
from decimal import Decimal

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner

from api.cli import main
from api.frames import decide_frame
from api.rules.rule import BUILT_IN
from api.rules.vector import decide_columns, decide_rows
from api.schemas.batches import row_fault
from api.services.batches.batches import Batch, Deciding
from api.services.batches.formats import kind_of, read_pieces, writer_of
from api.services.batches.parts import Job, decide_part
from api.version import VERSION

SIZE, PLACE = 5, 3
ROW = {"value": 10.5, "U": 0.125, "lower": 9.0, "upper": 11.0}
AROUND = {"value": 10.5, "U": 0.125, "nominal": 10.0, "tolerance": 1.0}
RELATIVE = {"value": 10.5, "U_rel_pct": 1.25, "lower": 9.0, "upper": 11.0}
# A table, and a column of it without which nothing can be decided.
NEEDED = [
    (ROW, "value"),
    (ROW, "U"),
    (AROUND, "value"),
    (AROUND, "nominal"),
    (AROUND, "tolerance"),
    (RELATIVE, "U_rel_pct"),
]
# An absent limit makes a one-sided requirement, and an absent k is 2: these must be numbers.
NUMBERS = [*NEEDED, (ROW, "upper"), ({**ROW, "k": 2.0}, "k"), ({**ROW, "dof": 9.0}, "dof")]
ABSENT = [None, np.nan, pd.NA, pd.NaT, Decimal("NaN"), Decimal("sNaN"), np.float32("nan")]
NO_NUMBER = [np.inf, -np.inf, Decimal("Infinity"), "inf", "NA", "null", "ten", True]
EMPTY = ["", " "]
NOT_A_NUMBER = ["NaN", "sNaN", "-Infinity", "null", "NA", "None", "-", "1e9999"]
ids = [f"{'-'.join(table)}:{name}" for table, name in NUMBERS]


def check(verdicts, fields, errors, name):
    """Hold answers to the rule: the row without a number has an error, all others a verdict."""
    some = [v if isinstance(v, str) and v else None for v in verdicts]
    assert some == ["pass"] * PLACE + [None] + ["pass"] * (SIZE - PLACE - 1)
    told = [
        (f, e) if isinstance(e, str) and e else None for f, e in zip(fields, errors, strict=True)
    ]
    assert [place for place, one in enumerate(told) if one] == [PLACE]
    field, error = told[PLACE]
    # Without its nominal a tolerance is what has no meaning, and without a tolerance the limits.
    beside = {"nominal": ("tolerance",), "tolerance": ("lower",), "U_rel_pct": ("U",)}
    assert field in (name, *beside.get(name, ()))
    assert len(error) > 5


def check_frame(frame, name):
    decided = decide_frame(frame, "simple")
    check(*(list(decided[column]) for column in ("verdict", "error_field", "error")), name)


def columns_of(table):
    return {name: [number] * SIZE for name, number in table.items()}


def column_of(number, mark):
    return [number] * PLACE + [mark] + [number] * (SIZE - PLACE - 1)


def absent_in_every_type(number):
    """The column with one cell absent, in every type that has a mark for it."""
    floats, nulls = column_of(number, np.nan), column_of(number, None)
    texts = [None if cell is None else str(cell) for cell in nulls]
    decimals = [None if text is None else Decimal(text) for text in texts]
    yield from (pd.Series(floats, dtype=kind) for kind in ("float64", "float32", "Float64"))
    yield pd.Series(floats, dtype="category")
    yield pd.Series(pd.arrays.SparseArray(floats))
    yield pd.Series(floats, dtype=pd.ArrowDtype(pa.float64()))
    yield from (pd.Series(texts, dtype=kind) for kind in ("str", "string", "category"))
    yield pd.Series(decimals, dtype=pd.ArrowDtype(pa.decimal128(20, 6)))
    yield pd.Series(decimals, dtype=object)
    yield np.ma.masked_array([number] * SIZE, mask=[place == PLACE for place in range(SIZE)])
    yield from (pl.Series(floats, dtype=kind) for kind in (pl.Float32, pl.Float64))
    yield from (pl.Series(texts, dtype=kind) for kind in (pl.String, pl.Categorical))
    yield pl.Series(decimals, dtype=pl.Decimal(20, 6))
    yield pl.Series(nulls, dtype=pl.Object)
    yield pa.chunked_array([pa.array(decimals)])
    if number.is_integer():
        whole = [None if cell is None else int(cell) for cell in nulls]
        yield from (pd.Series(whole, dtype=kind) for kind in ("Int64", "int64[pyarrow]"))


def infinite_in_every_type(number):
    floats = column_of(number, np.inf)
    kinds = ("float64", "float32", "Float64", "category", pd.ArrowDtype(pa.float64()))
    yield from (pd.Series(floats, dtype=kind) for kind in kinds)
    yield pl.Series(floats)


@pytest.mark.parametrize(("table", "name"), NUMBERS, ids=ids)
def test_no_type_of_column_of_a_data_frame_lets_a_missing_number_through(table, name):
    needed = any(table is one and name == other for one, other in NEEDED)
    number = table[name]
    columns = [*infinite_in_every_type(number), *(absent_in_every_type(number) if needed else ())]
    for mark in (*(ABSENT if needed else ()), *NO_NUMBER):
        columns.append(pd.Series(column_of(number, mark), dtype=object))
    for column in columns:
        cells = {**columns_of(table), name: column}
        if isinstance(column, pd.Series):
            check_frame(pd.DataFrame(cells), name)
        elif isinstance(column, pl.Series):
            check_frame(pl.DataFrame(columns_of(table)).with_columns(column.alias(name)), name)
        else:
            check_frame(cells, name)


@pytest.mark.parametrize(("table", "name"), [one for one in NUMBERS if one[0].keys() >= ROW.keys()])
def test_no_column_of_floats_or_texts_does(table, name):
    floats = {key: np.full(SIZE, number) for key, number in {"k": 2.0, **table}.items()}
    floats[name][PLACE] = np.inf
    found = decide_columns(**floats, rule=BUILT_IN["simple"])
    assert found["verdict"].tolist() == [0] * PLACE + [-1] + [0] * (SIZE - PLACE - 1)
    marks = [*NOT_A_NUMBER, *(["", None] if name in ("value", "U") else [])]
    for mark in marks:
        texts = {key: [str(number)] * SIZE for key, number in table.items()}
        texts[name][PLACE] = mark
        found, errors = decide_rows(texts, BUILT_IN["simple"])
        assert found["verdict"].tolist() == [0] * PLACE + [-1] + [0] * (SIZE - PLACE - 1)
        assert [(error.row, error.field) for error in errors] == [(PLACE, f"/{name}")]


def files_of(table, name, mark):
    """The table with a mark in a cell, as every format that can hold it: ending and bytes."""
    texts = {key: [str(number)] * SIZE for key, number in table.items()}
    texts[name][PLACE] = mark
    rows = [dict(zip(texts, cells, strict=True)) for cells in zip(*texts.values(), strict=True)]
    lines = [",".join(texts), *(",".join(f'"{cell}"' for cell in row.values()) for row in rows)]
    yield ".csv", "\n".join(lines).encode()
    nulled = [{key: cell if cell != "" else None for key, cell in row.items()} for row in rows]
    for some in (rows, nulled):
        yield ".ndjson", "\n".join(map(json.dumps, some)).encode()
        yield ".json", json.dumps({"rows": some}).encode()
    left_out = [{key: cell for key, cell in row.items() if cell != ""} for row in rows]
    yield ".ndjson", "\n".join(map(json.dumps, left_out)).encode()
    tables = [pa.table(texts)]
    number = {"": None, "NaN": np.nan, "-Infinity": -np.inf}.get(mark, "")
    if number != "":
        floats = {key: [number_] * SIZE for key, number_ in table.items()}
        floats[name][PLACE] = number
        tables.append(
            pa.table({key: pa.array(cells, pa.float64()) for key, cells in floats.items()})
        )
    for one in tables:
        for ending in (".parquet", ".arrow"):
            sink = io.BytesIO()
            if ending == ".parquet":
                pq.write_table(one, sink)
            else:
                with pa.ipc.new_stream(sink, one.schema) as stream:
                    stream.write_table(one)
            yield ending, sink.getvalue()


def through(data, ending):
    """Decide the bytes of a file, as the server and `evaluate` both do."""
    kind = kind_of(ending)
    deciding = Deciding(row_fault, BUILT_IN, BUILT_IN["simple"])
    pieces = read_pieces(io.BytesIO(data), kind, kind)
    return b"".join(Batch(pieces, deciding, writer_of(kind)))


def check_file(ending, data, name):
    """Read an answer of any format, and hold it to the rule."""
    if ending == ".csv":
        found = pl.read_csv(data, infer_schema=False).rows(named=True)
    elif ending == ".ndjson":
        found = [json.loads(line) for line in data.splitlines()][:-1]
    elif ending == ".json":
        found = json.loads(data)["rows"]
    elif ending == ".parquet":
        found = pq.read_table(io.BytesIO(data)).to_pylist()
    else:
        found = pa.ipc.open_stream(data).read_all().to_pylist()
    check(*([row[column] for row in found] for column in ("verdict", "error_field", "error")), name)


@pytest.mark.parametrize(("table", "name"), NUMBERS, ids=ids)
def test_no_format_of_a_file_or_of_a_part_on_a_cluster_does(table, name, tmp_path):
    needed = any(table is one and name == other for one, other in NEEDED)
    for mark in (*(EMPTY if needed else ()), *NOT_A_NUMBER[:3]):
        for ending, data in files_of(table, name, mark):
            check_file(ending, through(data, ending), name)
            if ending in (".csv", ".parquet") and mark in ("", "NaN"):
                # What a worker of a cluster does with its part.
                part, target = tmp_path / f"part{ending}", tmp_path / f"decided{ending}"
                part.write_bytes(data)
                job = Job(VERSION, str(part), None, str(target), [], "simple", False, False, True)
                decide_part(job, row_fault)
                check_file(ending, target.read_bytes(), name)


TYPES = {
    ".csv": "text/csv",
    ".ndjson": "application/x-ndjson",
    ".json": "application/json",
    ".parquet": "application/vnd.apache.parquet",
    ".arrow": "application/vnd.apache.arrow.stream",
}


def test_neither_the_server_nor_evaluate_does(client, tmp_path):
    for table, name in NEEDED:
        for mark in ("", "NaN"):
            for ending, data in files_of(table, name, mark):
                answer = client.post(
                    "/v1/batches?rule=simple",
                    data=data if ending != ".json" else data[:-1] + b',"rule":"simple"}',
                    headers={"Content-Type": TYPES[ending]},
                )
                assert answer.status_code == 200
                check_file(ending, answer.data, name)
    for ending, data in dict(files_of(ROW, "U", "")).items():
        given, target = tmp_path / f"results{ending}", tmp_path / f"decided{ending}"
        given.write_bytes(data)
        whole = ["evaluate", str(given), "--rule", "simple", "-o", str(target)]
        done = CliRunner().invoke(main, whole)
        assert done.exit_code == 5
        check_file(ending, target.read_bytes(), "U")
