"""Results as JSON: one object a line (NDJSON), or one document with a list of rows.

Choice: objects are read with the digits of their numbers and repeated in the answer as they were
sent, with the answers behind their own fields. A line that is no object, or has two meanings (a
name twice, NaN), comes back with its reason. NDJSON may be of any length; a document is read whole
and therefore bounded. Source: RFC 8259.

Not checked: fields that are only passed through.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import chain
from typing import Any, BinaryIO

import orjson
import polars as pl

from api.errors import InvalidRecord, Issue, pointer
from api.services.batches.masks import Faults
from api.services.batches.pieces import Piece, check_columns, check_count, unreadable

ROWS, BYTES = 16_384, 8 << 20
LARGEST_DOCUMENT = 32 << 20
_LONGEST_LINE = 1 << 20
_USUAL_DEPTH = 64


class _Number(str):
    """The digits of a JSON number."""

    __slots__ = ()


class _NotOneMeaning(ValueError):
    """JSON that two readers could understand differently."""


class MalformedDocument(InvalidRecord):
    """A document that is no JSON, or none with one meaning."""

    code = "malformed-json"


def read_ndjson(source: BinaryIO, closed: bool) -> Iterator[Piece]:
    """Read pieces; empty lines are passed over.

    `closed`: the answer has fixed columns, those of the first piece, and a later row that has
    others is refused instead of being cut.
    """
    known: list[str] | None = None
    rows: list[Any] = []
    lines: list[int] = []
    refused = Faults()
    size = 0

    def piece() -> Piece:
        nonlocal known
        made = _piece(rows, lines, refused, known, closed)
        known = list(dict.fromkeys([*(known or ()), *made.frame.columns]))
        check_count(known)
        return made

    for line, text in enumerate(_lines(source), 1):
        if not text.strip():
            continue
        row, fault = _row(text)
        if fault is not None:
            refused[len(rows)] = ("", fault)
        rows.append(row)
        lines.append(line)
        size += len(text)
        if len(rows) == ROWS or size >= BYTES:
            yield piece()
            rows, lines, refused, size = [], [], Faults(), 0
    if rows or known is None:
        yield piece()


def _lines(source: BinaryIO) -> Iterator[bytes]:
    first = source.readline(_LONGEST_LINE + 1).removeprefix(b"\xef\xbb\xbf")
    for line in chain([first], iter(lambda: source.readline(_LONGEST_LINE + 1), b"")):
        if len(line) > _LONGEST_LINE:
            raise unreadable("NDJSON", "a line is longer than 1 MiB", "send one row on each line")
        yield line


def _row(text: bytes) -> tuple[dict[str, Any], str | None]:
    try:
        row = _DECODER.decode(text.decode())
    except UnicodeDecodeError:
        return {}, "the line is not UTF-8"
    except (ValueError, RecursionError) as error:
        return {}, f"the line is not JSON: {error}"
    if not isinstance(row, dict):
        return {}, "the line is not a JSON object"
    fault = _unwritable(row) if _suspect(text) else None
    return ({}, f"the line cannot be used: {fault}") if fault else (row, None)


def _suspect(text: bytes) -> bool:
    return b"\\u" in text or text.count(b"{") + text.count(b"[") > _USUAL_DEPTH


def _unwritable(value: Any) -> str | None:
    """Say why a value cannot be written again: half a surrogate pair, or nested too deep."""
    try:
        _dumps(value)
    except orjson.JSONEncodeError as error:
        return str(error)
    return None


def read_document(source: BinaryIO) -> dict[str, Any]:
    """Return a document `{"rows": [...], ...}`; a bare list stands for its rows.

    Raises MalformedDocument for what is no JSON, InvalidRecord for what is too large.
    """
    data = source.read(LARGEST_DOCUMENT + 1)
    if len(data) > LARGEST_DOCUMENT:
        why = f"it is larger than {LARGEST_DOCUMENT >> 20} MiB"
        raise unreadable("JSON", why, "send NDJSON, one row on each line, which may have any size")
    try:
        found = _DECODER.decode(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise _malformed(f"not UTF-8 at byte {error.start}") from None
    except (ValueError, RecursionError) as error:
        raise _malformed(str(error)) from None
    fault = _unwritable(found) if _suspect(data) else None
    if fault:
        raise _malformed(fault)
    if not isinstance(found, dict):
        return {"rows": found}
    rest = {name: value for name, value in found.items() if name != "rows"}
    try:
        # Numbers outside the rows are read as numbers.
        return {**found, **json.loads(_dumps(rest), parse_float=Decimal)}
    except (ArithmeticError, ValueError):
        raise _malformed("a number is too long or its exponent too large") from None


def _malformed(why: str) -> MalformedDocument:
    return MalformedDocument(f"The JSON cannot be read: {why}.", [Issue("", why)])


def pieces_of(rows: Sequence[Any]) -> Iterator[Piece]:
    """Cut the rows of a document into pieces.

    Raises InvalidRecord for a row that is no object.
    """
    odd = [place for place, row in enumerate(rows) if not isinstance(row, dict)]
    if odd:
        issues = [Issue(pointer("rows", place), "not a JSON object", "send {...}") for place in odd]
        raise InvalidRecord("A row is not a JSON object.", issues)
    names = list(dict.fromkeys(name for row in rows for name in row))
    check_columns(names)
    for start in range(0, max(1, len(rows)), ROWS):
        part = rows[start : start + ROWS]
        lines = range(start + 1, start + 1 + len(part))
        yield Piece(_frame(part, names), lines, origin=part)


def _piece(
    rows: list[Any], lines: list[int], refused: Faults, known: list[str] | None, closed: bool
) -> Piece:
    names = list(dict.fromkeys(name for row in rows for name in row))
    check_count(names)
    if known is None:
        check_columns(names)
    else:
        for name in set(names) - set(known):
            why = _strange(name, known, closed)
            if why:
                wrong = [place for place, row in enumerate(rows) if name in row]
                refused.update((place, (name, why)) for place in wrong)
        names = known if closed else names
    return Piece(_frame(rows, names), lines, refused, rows)


def _strange(name: str, known: Sequence[str], closed: bool) -> str | None:
    try:
        check_columns([name])
    except InvalidRecord as error:
        return error.issues[0].detail
    return f"the column {name!r} does not stand in the first {ROWS} rows" if closed else None


def _frame(rows: Sequence[Mapping[str, Any]], names: Sequence[str]) -> pl.DataFrame:
    cells = {name: [_cell(row.get(name)) for row in rows] for name in names}
    if not cells:
        return pl.DataFrame({"value": [None] * len(rows)}, schema={"value": pl.String})
    return pl.DataFrame(cells, schema=dict.fromkeys(names, pl.String))


def _cell(value: Any) -> str | None:
    if isinstance(value, str):
        return str(value) or None
    return None if value is None else _dumps(value).decode()


def repeat_rows(rows: Sequence[Any], answers: pl.DataFrame) -> bytes:
    """Return rows as they were sent, with their answers, as NDJSON."""
    found = answers.write_ndjson().encode().splitlines(keepends=True)
    return b"".join(
        _dumps(row)[:-1] + b"," + answer[1:] if row else answer
        for row, answer in zip(rows, found, strict=True)
    )


def _dumps(value: Any) -> bytes:
    return orjson.dumps(value, default=_fragment, option=orjson.OPT_PASSTHROUGH_SUBCLASS)


def _fragment(value: Any) -> orjson.Fragment:
    return orjson.Fragment(str(value))


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _NotOneMeaning("a name stands twice in one object")
    return found


def _refuse(name: str) -> Any:
    raise _NotOneMeaning(f"{name} is not a number")


_DECODER = json.JSONDecoder(
    parse_float=_Number, parse_int=_Number, parse_constant=_refuse, object_pairs_hook=_unique
)
