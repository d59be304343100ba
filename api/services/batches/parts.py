"""A batch in parts: several files, in the natural order of their names, decided as one.

Choice: the rows of the parts follow each other as if they stood in one file, so the parts must have
the same columns, of the same types. A row in error carries the name of its part beside its line.
Where parts are decided one by one, by other processes or machines, each becomes a file of its own,
which is whole as soon as it has its name; joined, these are the same rows again, in the same
order. Nothing but plain functions and data goes from one process to another.

Not checked: that every process sees the same files under the same paths.
"""

from __future__ import annotations

import glob
import re
import shutil
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from api.errors import InvalidRecord, Issue
from api.rules.rule import Rule
from api.services.batches.batches import Batch, Deciding, rules_from
from api.services.batches.derived import Specify, no_specifications
from api.services.batches.format_arrow import ColumnsWriter
from api.services.batches.formats import (
    CSV,
    PARQUET,
    Kind,
    Summary,
    kind_of,
    read_pieces,
    writer_of,
)
from api.services.batches.masks import Explain
from api.services.batches.pieces import ERROR_FILE, Piece
from api.version import VERSION

KINDS = (CSV, PARQUET)
Shape = list[tuple[str, str]]
_COPY = 1 << 20


@dataclass(frozen=True, slots=True)
class Part:
    """One file; `name` is what rows in error call it, None if it is the only one."""

    path: Path
    name: str | None


@dataclass(frozen=True, slots=True)
class Job:
    """What another process needs to decide one part: plain data.

    `rules` are rule objects as in a file of rules, `default` the id of one. `heading`: CSV begins
    with the names of the columns.
    """

    version: str
    part: str
    name: str | None
    target: str
    rules: Sequence[Mapping[str, Any]]
    default: str | None
    raw: bool
    summary_line: bool
    heading: bool


@dataclass(frozen=True, slots=True)
class Done:
    """A decided part: its columns as they came, and its totals."""

    shape: Shape
    summary: Summary


def parts_of(pattern: str) -> list[Part]:
    """Return the files of a pattern such as `part-*.csv`, part-2 before part-10.

    Raises InvalidRecord if there is none, or if they are not all CSV or all Parquet.
    """
    names = [name for name in glob.glob(pattern, recursive=True) if Path(name).is_file()]
    if not names:
        raise InvalidRecord(f"no file is named {pattern}")
    endings = sorted({Path(name).suffix.lower() for name in names})
    if len(endings) > 1 or kind_of(endings[0]) not in KINDS:
        raise InvalidRecord(f"parts are all .csv or all .parquet, these are {', '.join(endings)}")
    return [Part(Path(name).absolute(), name) for name in sorted(names, key=natural)]


def natural(name: str) -> tuple[list[tuple[bool, int, str]], str]:
    """Key to order names by, in which numbers count as numbers and come before text.

    >>> sorted(["part-10", "part-9", "part-09"], key=natural)
    ['part-09', 'part-9', 'part-10']
    """
    cut = [text for text in re.split(r"([0-9]+)", name) if text]
    numbers = [(False, int(one), "") if "0" <= one[0] <= "9" else (True, 0, one) for one in cut]
    return numbers, name


def pieces_of(parts: Iterable[Part], kind: Kind, answer: Kind) -> Iterator[Piece]:
    """Read all parts as one batch.

    Raises InvalidRecord, naming the part, for what cannot be read or has other columns.
    """
    first: tuple[Part, Shape] | None = None
    for part in parts:
        shape: Shape | None = None
        for piece in _pieces(part, kind, answer):
            if shape is None:
                shape = shape_of(piece)
                first = first or (part, shape)
                check_alike(first[0], first[1], part, shape)
            yield piece


def _pieces(part: Part, kind: Kind, answer: Kind) -> Iterator[Piece]:
    try:
        with part.path.open("rb") as source:
            for piece in read_pieces(source, kind, answer):
                if part.name is not None and ERROR_FILE in piece.frame.columns:
                    raise InvalidRecord(f"the column {ERROR_FILE!r} is an answer; rename it")
                piece.file = part.name
                yield piece
    except InvalidRecord as error:
        raise _in_part(part, error) from error


def _in_part(part: Part, error: InvalidRecord) -> InvalidRecord:
    return (
        error if part.name is None else InvalidRecord(f"{part.name}: {error.detail}", error.issues)
    )


def shape_of(piece: Piece) -> Shape:
    """Return the names and types of the columns that came in."""
    if isinstance(piece.origin, pa.RecordBatch):
        return [(field.name, str(field.type)) for field in piece.origin.schema]
    return [(name, str(kind)) for name, kind in piece.frame.schema.items()]


def check_alike(first: Part, expected: Shape, part: Part, found: Shape) -> None:
    """Refuse a part whose columns are not those of the first one."""
    if found == expected:
        return
    issues = [
        Issue("", f"{name} ({kind}) is {'missing' if there else 'more'} in {part.name}", "", name)
        for there, columns, others in ((True, expected, found), (False, found, expected))
        for name, kind in columns
        if (name, kind) not in others
    ]
    order = Issue("", "the columns stand in another order", "write all parts in one way")
    detail = f"{part.name} has other columns than {first.name}"
    raise InvalidRecord(detail, issues or [order])


def deciding(
    documents: Iterable[Mapping[str, Any]],
    default: str | None,
    explain: Explain,
    specify: Specify = no_specifications,
) -> Deciding:
    """Return how rows are decided, from rule objects and the id of the rule for the others."""
    rules = rules_from(documents)
    rule: Rule | None = None if default is None else rules[default]
    return Deciding(explain, rules, rule, specify)


def decide_part(job: Job, explain: Explain, specify: Specify = no_specifications) -> Done:
    """Decide one part into a file of its own; again, if need be, with the same outcome.

    Raises InvalidRecord for a part that cannot be read, or if this is another version than the one
    that asks; OSError if part or target are out of reach.
    """
    if job.version != VERSION:
        detail = f"a worker has version {VERSION} of Tracehold, this command {job.version}"
        raise InvalidRecord(detail, [Issue("", detail, "install the same version everywhere")])
    part, target = Part(Path(job.part), job.name), Path(job.target)
    kind, answer = _kind(part.path), _kind(target)
    shape: Shape = []

    def pieces() -> Iterator[Piece]:
        for piece in _pieces(part, kind, answer):
            shape[:] = shape or shape_of(piece)
            yield piece

    writer = writer_of(answer, job.raw, job.summary_line, job.heading)
    how = deciding(job.rules, job.default, explain, specify)
    batch = Batch(pieces(), how, writer)
    partial = target.with_name(f".{target.name}.{uuid.uuid4().hex}")
    try:
        with partial.open("wb") as opened:
            for written in batch:
                opened.write(written)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)
    return Done(shape, batch.summary())


def _kind(path: Path) -> Kind:
    found = kind_of(path.suffix)
    if found is None:
        raise InvalidRecord(f"{path.name} is neither CSV nor Parquet")
    return found


class Joined:
    """Decided parts as one answer. Iterate over it, once, for the bytes.

    `done` yields each decided part in order; `targets` are their files, which are removed as they
    are read.
    """

    def __init__(
        self, parts: Sequence[Part], targets: Sequence[Path], done: Iterable[Done], last: bool
    ) -> None:
        self._parts, self._targets, self._done, self._last = parts, targets, done, last
        self.totals = Totals()

    def __iter__(self) -> Iterator[bytes]:
        """Yield the answer in pieces."""
        parquet = _kind(self._targets[0]) is PARQUET
        columns = ColumnsWriter(parquet=True)
        for target, _ in zip(self._targets, self.counted(), strict=True):
            yield from _tables(target, columns) if parquet else _bytes(target)
            target.unlink()
        summary = self.totals.summary
        if parquet:
            yield columns.finish(summary)
        elif self._last:
            yield writer_of(CSV, summary_line=True).finish(summary)

    def counted(self) -> Iterator[Done]:
        """Yield what is done, compared with the first part and added to the totals."""
        first: Done | None = None
        for part, done in zip(self._parts, self._done, strict=True):
            first = first or done
            check_alike(self._parts[0], first.shape, part, done.shape)
            self.totals.add(done.summary)
            yield done


class Totals:
    """Rows of several parts together, as the summary of one batch counts them."""

    def __init__(self) -> None:
        self.summary: dict[str, Any] = {}

    def add(self, more: Summary) -> None:
        """Add the totals of one more part."""
        before = self.summary or {"rows": 0, "decided": 0, "refused": 0, "by_verdict": {}}
        verdicts = before["by_verdict"]
        self.summary = {name: before[name] + more[name] for name in ("rows", "decided", "refused")}
        self.summary["by_verdict"] = {
            name: verdicts.get(name, 0) + count for name, count in more["by_verdict"].items()
        }


def _tables(target: Path, columns: ColumnsWriter) -> Iterator[bytes]:
    with pq.ParquetFile(target) as file:
        yield columns.write(file.schema_arrow.remove_metadata().empty_table())
        for group in range(file.metadata.num_row_groups):
            yield columns.write(file.read_row_group(group).replace_schema_metadata(None))


def _bytes(target: Path) -> Iterator[bytes]:
    with target.open("rb") as file:
        while piece := file.read(_COPY):
            yield piece


def clear(folder: Path) -> None:
    """Remove a folder of decided parts, with whatever a lost worker left in it."""
    shutil.rmtree(folder, ignore_errors=True)
