"""Which formats a batch comes and goes in, and how an answer shows that it is whole.

The totals, `{"rows", "decided", "refused", "by_verdict"}`, stand at the end of every format: NDJSON
has a last line `{"summary": {...}}`, a JSON document the member `summary` behind its rows, Parquet
and Arrow the metadata `tracehold_summary`. CSV has no place for them that every reader would pass
over, so a last line `#summary {...}` is written only if it is asked for.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO, Protocol

import polars as pl
import pyarrow as pa

from api.services.batches.format_arrow import (
    ColumnsWriter,
    read_arrow,
    read_parquet,
    whole_frame,
    with_answers,
)
from api.services.batches.format_csv import read_csv, write_csv, write_heading
from api.services.batches.format_json import pieces_of, read_document, read_ndjson, repeat_rows
from api.services.batches.masks import NUMBERS, PRIOR
from api.services.batches.pieces import BRANCH, ERRORS, OUTPUTS, Piece, unreadable

Summary = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Kind:
    """A format: its name, media types (the first one is answered with) and file name ending.

    `columnar`: every row has the same columns, which are fixed by the first piece.
    """

    name: str
    media_types: tuple[str, ...]
    suffix: str
    columnar: bool = True


CSV = Kind("CSV", ("text/csv",), ".csv")
NDJSON = Kind(
    "NDJSON", ("application/x-ndjson", "application/ndjson", "application/jsonl"), ".ndjson", False
)
JSON = Kind("JSON", ("application/json",), ".json", False)
PARQUET = Kind("Parquet", ("application/vnd.apache.parquet",), ".parquet")
ARROW = Kind("Arrow stream", ("application/vnd.apache.arrow.stream",), ".arrow")
KINDS = (CSV, NDJSON, JSON, PARQUET, ARROW)


def kind_of(name: str) -> Kind | None:
    """Return the format of a media type or of a file name's ending.

    >>> kind_of("text/csv").suffix, kind_of(".arrow").media_types, kind_of("image/png")
    ('.csv', ('application/vnd.apache.arrow.stream',), None)
    """
    return next((k for k in KINDS if name in k.media_types or name.lower() == k.suffix), None)


def read_pieces(source: BinaryIO, kind: Kind, answer: Kind) -> Iterator[Piece]:
    """Read a seekable file of a format, for an answer in another.

    Raises InvalidRecord where it cannot be read, at the latest when it gets there.
    """
    if kind is CSV:
        return read_csv(source)
    if kind is NDJSON:
        return read_ndjson(source, answer.columnar)
    if kind is JSON:
        return pieces_of(read_document(source).get("rows", []))
    return read_parquet(source) if kind is PARQUET else read_arrow(source)


class Writer(Protocol):
    """Turns decided pieces into the bytes of an answer."""

    def prepare(self, piece: Piece, answers: pl.DataFrame) -> Any:
        """Do what can be done for a piece on its own; may run beside others."""

    def write(self, prepared: Any) -> bytes:
        """Return the bytes of the next piece."""

    def finish(self, summary: Summary) -> bytes:
        """Return the last bytes."""


def writer_of(
    kind: Kind, raw: bool = False, summary_line: bool = False, heading: bool = True
) -> Writer:
    """Return the writer of a format; `raw`, `summary_line` and `heading` are for CSV."""
    if kind is CSV:
        return CsvWriter(raw, summary_line, heading)
    if kind in (PARQUET, ARROW):
        return TableWriter(ColumnsWriter(parquet=kind is PARQUET))
    return LinesWriter() if kind is NDJSON else DocumentWriter()


class CsvWriter:
    """CSV with one heading; `raw` leaves cells as they are, which a spreadsheet may run."""

    def __init__(self, raw: bool, summary_line: bool, heading: bool = True) -> None:
        self._raw, self._summary_line, self._begun = raw, summary_line, not heading

    def prepare(self, piece: Piece, answers: pl.DataFrame) -> tuple[list[str], bytes]:
        """Return the names of the columns, and the rows."""
        table = _as_frame(piece).hstack(answers)
        names = table.columns
        without_errors = answers["error"].null_count() == answers.height
        if without_errors:
            # Columns without a cell take time too; the end of the line can stand for them.
            table = table.drop(ERRORS)
        texts = () if self._raw else _doubtful(table, without_errors)
        # Messages have commas, and so may reasons.
        plain = piece.plain and without_errors and BRANCH[0] not in names
        empty = len(names) - table.width
        return names, write_csv(table, texts, plain, empty)

    def write(self, prepared: tuple[list[str], bytes]) -> bytes:
        """Return the rows, the first time with the heading."""
        names, rows = prepared
        heading = b"" if self._begun else write_heading(names, self._raw)
        self._begun = True
        return heading + rows

    def finish(self, summary: Summary) -> bytes:
        """Return the line of totals, if it was asked for."""
        return b"#summary %s\n" % json.dumps(summary).encode() if self._summary_line else b""


def _doubtful(table: pl.DataFrame, without_errors: bool) -> list[str]:
    """Return the columns of text that may hold anything but numbers and our own words."""
    numbers = {*NUMBERS, *PRIOR} if without_errors else set()
    ours = {*OUTPUTS} - {"error_field", "error"}
    return [
        name
        for name, kind in table.schema.items()
        if kind == pl.String
        and name not in numbers | ours
        and table[name].null_count() < table.height
    ]


class LinesWriter:
    """NDJSON: rows that came as JSON are repeated as they were sent."""

    def prepare(self, piece: Piece, answers: pl.DataFrame) -> bytes:
        """Return the lines."""
        if isinstance(piece.origin, list):
            return repeat_rows(piece.origin, answers)
        table = _as_frame(piece).hstack(answers)
        bytes_in = [name for name, kind in table.schema.items() if _holds_bytes(kind)]
        if bytes_in:
            why = f"JSON has no form for the bytes in the column {bytes_in[0]!r}"
            raise unreadable("table", why, "leave it out, or ask for Parquet or Arrow")
        try:
            return table.write_ndjson().encode()
        except pl.exceptions.PanicException as error:
            # The columnar library's own word for a type it cannot write; no Exception.
            raise unreadable("table", str(error), "ask for Parquet or Arrow") from None

    def write(self, prepared: bytes) -> bytes:
        """Return the lines."""
        return prepared

    def finish(self, summary: Summary) -> bytes:
        """Return the line of totals."""
        return json.dumps({"summary": summary}).encode() + b"\n"


class DocumentWriter(LinesWriter):
    """One JSON document: {"rows": [...], "summary": {...}}."""

    def __init__(self) -> None:
        self._before = b'{"rows":['

    def write(self, prepared: bytes) -> bytes:
        """Return the rows with their commas; a line feed stands only between objects."""
        if not prepared:
            return b""
        before, self._before = self._before, b","
        return before + prepared.rstrip(b"\n").replace(b"\n", b",")

    def finish(self, summary: Summary) -> bytes:
        """Return the end of the document."""
        before = b"" if self._before == b"," else self._before
        return before + b'],"summary":' + json.dumps(summary).encode() + b"}"


class TableWriter:
    """Parquet or Arrow."""

    def __init__(self, columns: ColumnsWriter) -> None:
        self._columns = columns

    def prepare(self, piece: Piece, answers: pl.DataFrame) -> pa.Table:
        """Return the table of a piece."""
        return with_answers(piece, answers)

    def write(self, prepared: pa.Table) -> bytes:
        """Return what has been written by now."""
        return self._columns.write(prepared)

    def finish(self, summary: Summary) -> bytes:
        """Return the end with the totals in the metadata."""
        return self._columns.finish(summary)


def _holds_bytes(kind: Any) -> bool:
    if isinstance(kind, pl.Struct):
        return any(_holds_bytes(field.dtype) for field in kind.fields)
    inner = getattr(kind, "inner", None)
    return _holds_bytes(inner) if inner is not None else isinstance(kind, pl.Binary)


def _as_frame(piece: Piece) -> pl.DataFrame:
    return whole_frame(piece.origin) if isinstance(piece.origin, pa.RecordBatch) else piece.frame
