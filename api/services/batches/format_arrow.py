"""Results as Parquet files and Arrow streams, in and out, batch by batch.

Choice: columns keep their types and their order, answers stand behind them, and the totals are in
the file's metadata (Parquet) or in that of a last, empty batch (Arrow), under `tracehold_summary`.
Because a few bytes may stand for very many, sizes are read before anything is unpacked
(`arrow_sizes`), and what would not fit is refused.

Not checked: that a Parquet file tells the truth about its sizes; a lie may cost 2 GiB, which is as
much as one page of the format can hold.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, BinaryIO

import polars as pl
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from api.services.batches.arrow_sizes import check_stream, check_texts, check_types, is_text
from api.services.batches.columns import INPUTS
from api.services.batches.foreign import foreign
from api.services.batches.parquet_sizes import check_parquet, opened
from api.services.batches.pieces import Drain, Piece, check_heading, unreadable

ROWS = 65_536
SUMMARY = "tracehold_summary"
_BUFFER = 1 << 20
_SAMPLE = 4096
_OLDEST = pl.CompatLevel.oldest()
_BROKEN = (pa.ArrowException, pl.exceptions.PolarsError, OSError, ValueError, EOFError)


def read_parquet(source: BinaryIO) -> Iterator[Piece]:
    """Read pieces of a Parquet file, which must be seekable.

    Raises InvalidRecord for what is no Parquet, has columns that cannot be used, or is too large.
    """
    try:
        file = opened(source)
        schema = file.schema_arrow
        check_heading(schema.names)
        packed = check_parquet(file, source, ROWS)
        file = pq.ParquetFile(source, read_dictionary=packed, buffer_size=_BUFFER)
        yield from _pieces(file.iter_batches(ROWS), schema)
    except _BROKEN as error:
        raise unreadable("Parquet", str(error), "send a whole Parquet file") from None


def read_arrow(source: BinaryIO) -> Iterator[Piece]:
    """Read pieces of an Arrow IPC stream, which must be seekable.

    Raises InvalidRecord for what is no such stream, has columns that cannot be used, or is too
    large once it is unpacked.
    """
    try:
        check_stream(source)
        source.seek(0)
        with pa.ipc.open_stream(source) as reader:
            check_heading(reader.schema.names)
            check_types(reader.schema)
            cut = (
                batch.slice(start, ROWS)
                for batch in reader
                for start in range(0, batch.num_rows, ROWS)
            )
            yield from _pieces(cut, reader.schema)
    except _BROKEN as error:
        raise unreadable("Arrow stream", str(error), "send a whole Arrow IPC stream") from None


def _pieces(batches: Iterable[pa.RecordBatch], schema: pa.Schema) -> Iterator[Piece]:
    none, line = _empty(schema), 1
    yield Piece(_inputs(none), range(0), origin=none)
    for found in batches:
        # Offsets that point elsewhere, and text that is none, would be believed from here on.
        found.validate(full=True)
        check_texts(found)
        batch = _plain(found, schema)
        yield Piece(_inputs(batch), range(line, line + batch.num_rows), origin=batch)
        line += batch.num_rows


def _empty(schema: pa.Schema) -> pa.RecordBatch:
    return pa.RecordBatch.from_arrays([pa.array([], f.type) for f in schema], schema=schema)


def _plain(batch: pa.RecordBatch, schema: pa.Schema) -> pa.RecordBatch:
    """Return a batch with the types of the schema, dictionaries that it does not name unpacked."""
    if batch.schema.types == schema.types:
        return batch
    columns = [
        column if column.type == field.type else column.cast(field.type)
        for column, field in zip(batch.columns, schema, strict=True)
    ]
    return pa.RecordBatch.from_arrays(columns, schema=schema)


def whole_frame(batch: pa.RecordBatch) -> pl.DataFrame:
    """Return a batch as a frame; dictionaries of text become text.

    Raises InvalidRecord for a type that a frame cannot hold.
    """
    try:
        frame = pl.from_arrow(pa.Table.from_batches([batch]), rechunk=False)
    except pl.exceptions.PanicException:  # is no Exception, and would leave a request unanswered
        kinds = ", ".join(sorted({str(field.type) for field in batch.schema}))
        why = f"of the types of its columns ({kinds}) one is not understood"
        raise unreadable("table", why, "write it as numbers or text") from None
    if not isinstance(frame, pl.DataFrame):
        raise TypeError("a table became no frame")
    return frame.with_columns(
        pl.col(name).cast(pl.String)
        for name, kind in frame.schema.items()
        if isinstance(kind, pl.Categorical | pl.Enum)
    )


def _inputs(batch: pa.RecordBatch) -> pl.DataFrame:
    """Return the columns that decide as a frame: numbers and text, the latter for all the rest."""
    names = [name for name in batch.schema.names if name in INPUTS]
    columns = [_number_or_text(batch.column(name)) for name in names]
    return whole_frame(pa.RecordBatch.from_arrays(columns, names))


def _number_or_text(column: pa.Array) -> pa.Array:
    """Return a column of another kind as text, which is no number unless it was one."""
    kind = column.type
    kind = kind.value_type if pa.types.is_dictionary(kind) else kind
    number = pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal128(kind)
    if number or is_text(kind) or pa.types.is_null(kind):
        return column
    written = str if pa.types.is_decimal(kind) else foreign
    cells = [None if cell is None else written(cell) for cell in column.to_pylist()]
    return pa.array(cells, pa.string())


def with_answers(piece: Piece, answers: pl.DataFrame) -> pa.Table:
    """Return the columns that came in, as they came, and the answers."""
    added = answers.to_arrow(compat_level=_OLDEST)
    if not isinstance(piece.origin, pa.RecordBatch):
        return piece.frame.hstack(answers).to_arrow(compat_level=_OLDEST)
    given = pa.Table.from_batches([piece.origin])
    columns = {name: given[name] for name in given.column_names}
    return pa.table({**columns, **{name: added[name] for name in added.column_names}})


class ColumnsWriter:
    """Writes tables of one schema and gives the bytes away as they arise."""

    def __init__(self, parquet: bool) -> None:
        self._sink = Drain()
        self._parquet = parquet
        self._writer: Any = None
        self._schema: Any = None

    def write(self, table: pa.Table) -> bytes:
        """Return the bytes of one more table; the first one, even if empty, sets the schema."""
        self._schema = self._schema or table.schema
        if table.num_rows and self._writer is None:
            self._writer = self._begin(table)
        if table.num_rows:
            self._writer.write_table(table.cast(self._schema))
        return self._sink.take()

    def _begin(self, table: pa.Table) -> Any:
        if not self._parquet:
            return pa.ipc.new_stream(self._sink, table.schema)
        sample = table.slice(0, _SAMPLE)
        # To look for repetition where there is none costs half of the time.
        repeated = [
            name
            for name in table.column_names
            if _is_plain(sample[name].type)
            and pc.count_distinct(sample[name], mode="all").as_py() * 4 <= len(sample)
        ]
        return pq.ParquetWriter(self._sink, table.schema, use_dictionary=repeated)

    def finish(self, summary: Mapping[str, Any]) -> bytes:
        """Return the last bytes, with the totals."""
        text = json.dumps(summary)
        if self._writer is None:
            self._writer = self._begin(self._schema.empty_table())
        if self._parquet:
            self._writer.add_key_value_metadata({SUMMARY: text})
        else:
            self._writer.write_batch(_empty(self._schema), custom_metadata={SUMMARY: text})
        self._writer.close()
        return self._sink.take()


def _is_plain(kind: pa.DataType) -> bool:
    """Whether repetition can be looked for."""
    types = pa.types
    text = types.is_string(kind) or types.is_large_string(kind) or types.is_binary(kind)
    return bool(text or types.is_primitive(kind))
