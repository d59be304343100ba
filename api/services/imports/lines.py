"""A laboratory as NDJSON: a piece of the laboratory file on each line, in any order.

A line is a small laboratory file in which one record may stand for a list of them:
``{"items": {...}}``, ``{"calibrations": {...}}``, ``{"time_zone": "Europe/Vienna"}``. A record with
its collection beside it (``{"collection": "items", "record": {...}}``) and a record by itself, if
it has every field that its collection requires, are understood too.

Choice: lines are read and checked before the transaction begins and kept as loaded records in
temporary files, one for each collection, so that the transaction neither parses nor holds more than
a lot of them, and lines may stand in any order. Source: the NDJSON convention (UTF-8, one JSON
value a line, RFC 8259 for each).

Not checked here: anything that one line cannot show by itself.
"""

from __future__ import annotations

import pickle
import tempfile
from array import array
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from itertools import islice
from typing import IO, Any, BinaryIO, Self

from api.errors import InvalidRecord, Issue, TraceholdError, pointer
from api.services.base.record import Record
from api.services.base.recording import MOST_ISSUES
from api.services.imports.imports import COLLECTIONS

LONGEST_LINE = 4 << 20
LOT = 2_000
_IN_MEMORY = 1 << 20
# By these a record that stands by itself is known; a check has the fields of an item too.
_REQUIRED: Mapping[str, frozenset[str]] = {
    "composition": frozenset({"assembly", "part", "from"}),
    "calibrations": frozenset({"certificate", "item", "performed_at"}),
    "checks": frozenset({"id", "item", "at", "result"}),
    "items": frozenset({"id", "kind"}),
    "requirements": frozenset({"id", "applies_to", "source"}),
}

Parse = Callable[[bytes], Any]
# Gives a piece of a laboratory file as loaded, or what is wrong with it.
Load = Callable[[Record], tuple[Record, Sequence[Issue]]]


class InvalidLines(InvalidRecord):
    """Lines that break the schema."""

    code = "invalid-request"


class MalformedLines(InvalidRecord):
    """Lines that are no JSON, or none with one meaning."""

    code = "malformed-json"


class Lines:
    """A laboratory that came as lines: records by collection, and the line of each.

    A context manager that owns temporary files. It is a ``Source`` of an import.
    """

    def __init__(self) -> None:
        self.heading: Record = {}
        self._heading_lines: dict[str, int] = {}
        self._files: dict[str, IO[bytes]] = {}
        self._lines = {name: array("Q") for name in COLLECTIONS}
        # Where in its line a record stands, unless under the name of its collection.
        self._prefixes: dict[tuple[str, int], str] = {}
        self._closing = ExitStack()

    def __enter__(self) -> Self:
        for name in COLLECTIONS:
            file = tempfile.SpooledTemporaryFile(_IN_MEMORY)
            self._files[name] = self._closing.enter_context(file)
        return self

    def __exit__(self, *_: object) -> None:
        self._closing.close()

    def lots(self, collection: str) -> Iterator[Sequence[Record]]:
        """Records of a collection, some at a time."""
        file = self._files[collection]
        file.seek(0)
        # Written by `add` to a file of this process that has no name.
        records = (pickle.load(file) for _ in range(len(self._lines[collection])))
        while lot := list(islice(records, LOT)):
            yield lot

    def numbered(self, collection: str, number: int) -> str:
        """The line of a record, in words."""
        return f"line {self._lines[collection][number]}"

    def add(self, line: int, piece: Record, prefixes: Mapping[str, str]) -> list[Issue]:
        """Take in what a line holds, as loaded; returns what contradicts an earlier line."""
        found = []
        for name, value in piece.items():
            if name in COLLECTIONS:
                self._add_records(line, name, value, prefixes)
            elif self.heading.setdefault(name, value) != value:
                first = self._heading_lines[name]
                detail = f"{name} is another on line {first}"
                found.append(_issue(line, pointer(name), detail, "say it once"))
            else:
                self._heading_lines.setdefault(name, line)
        return found

    def _add_records(
        self, line: int, name: str, records: Sequence[Record], prefixes: Mapping[str, str]
    ) -> None:
        usual = pointer(name)
        for index, record in enumerate(records):
            prefix = prefixes.get(pointer(name, index), pointer(name, index))
            if prefix != usual:
                self._prefixes[name, len(self._lines[name])] = prefix
            self._lines[name].append(line)
            pickle.dump(record, self._files[name], pickle.HIGHEST_PROTOCOL)

    def located(self, error: TraceholdError) -> TraceholdError:
        """Return an error of the import whose places are lines, with pointers into them."""
        return type(error)(error.detail, [self._located(issue) for issue in error.issues])

    def _located(self, issue: Issue) -> Issue:
        _, name, number, rest = f"{issue.pointer}///".split("/", 3)
        rest = rest.rstrip("/")
        if name in COLLECTIONS and number:
            place = int(number)
            prefix = self._prefixes.get((name, place), pointer(name))
            line = self._lines[name][place]
            inside = f"{prefix}/{rest}" if rest else prefix
            return _issue(line, inside, issue.detail, issue.remedy, issue.value)
        if name in self._heading_lines:
            line = self._heading_lines[name]
            return _issue(line, issue.pointer, issue.detail, issue.remedy, issue.value)
        return issue


def read_lines(source: BinaryIO, lines: Lines, parse: Parse, load: Load) -> None:
    """Read a laboratory; empty lines are passed over.

    `parse` raises ValueError for what is no JSON.

    Raises
    ------
    MalformedLines, InvalidLines
        With the first faults, each with its line and a pointer into it.
    """
    malformed: list[Issue] = []
    invalid: list[Issue] = []
    for line, text in _numbered(source):
        try:
            piece, prefixes = _piece(parse(text))
        except _NotAPiece as fault:
            invalid.append(_issue(line, fault.place, str(fault), fault.remedy))
        except ValueError as error:
            detail = str(error).replace("line 1, ", "")
            malformed.append(_issue(line, "", detail, "send one JSON object on each line"))
        else:
            loaded, issues = load(piece)
            invalid += [_within(line, issue, prefixes) for issue in issues]
            if not issues:
                invalid += lines.add(line, loaded, prefixes)
        if len(malformed) + len(invalid) >= MOST_ISSUES:
            break
    faults = malformed + invalid
    if faults:
        kind = MalformedLines if malformed else InvalidLines
        at = (faults[0].at or {})["line"]
        raise kind(f"{len(faults)} fault(s) in the lines, the first on line {at}", faults)


class _NotAPiece(Exception):
    """A JSON value that is no piece of a laboratory file."""

    def __init__(self, place: str, detail: str, remedy: str) -> None:
        super().__init__(detail)
        self.place = place
        self.remedy = remedy


def _numbered(source: BinaryIO) -> Iterator[tuple[int, bytes]]:
    number = 0
    while text := source.readline(LONGEST_LINE + 1):
        number += 1
        if len(text) > LONGEST_LINE:
            detail = f"longer than {LONGEST_LINE >> 20} MiB"
            issue = _issue(number, "", detail, "send one record on each line")
            raise MalformedLines(f"Line {number} is {detail}.", [issue])
        if text.strip():
            yield number, text


def _piece(value: Any) -> tuple[Record, dict[str, str]]:
    """Return a line as a laboratory file, and where its records stand in the line."""
    if not isinstance(value, dict):
        raise _NotAPiece("", "not a JSON object", "send one JSON object on each line")
    if value.keys() == {"collection", "record"}:
        name = value["collection"]
        if not isinstance(name, str) or name not in COLLECTIONS:
            raise _NotAPiece(
                "/collection", "no such collection", f"one of {', '.join(COLLECTIONS)}"
            )
        return {name: [value["record"]]}, {pointer(name, 0): "/record"}
    if not value.keys() & COLLECTIONS.keys():
        for name, required in _REQUIRED.items():
            if value.keys() >= required:
                return {name: [value]}, {pointer(name, 0): ""}
    piece, prefixes = dict(value), {}
    for name in COLLECTIONS:
        if isinstance(value.get(name), dict):
            piece[name] = [value[name]]
            prefixes[pointer(name, 0)] = pointer(name)
    return piece, prefixes


def _within(line: int, issue: Issue, prefixes: Mapping[str, str]) -> Issue:
    for place, prefix in prefixes.items():
        if issue.pointer == place or issue.pointer.startswith(f"{place}/"):
            inside = prefix + issue.pointer.removeprefix(place)
            return _issue(line, inside, issue.detail, issue.remedy, issue.value)
    return _issue(line, issue.pointer, issue.detail, issue.remedy, issue.value)


def _issue(line: int, place: str, detail: str, remedy: str, value: str | None = None) -> Issue:
    return Issue(place, detail, remedy, value, {"line": line})
