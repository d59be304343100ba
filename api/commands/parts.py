"""`tracehold evaluate` for a batch in parts: here, or on the workers of a Dask cluster."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from api.commands.files import kind_named, row_fault, target_of, write_beside
from api.commands.output import Refused
from api.errors import InvalidRecord, TraceholdError
from api.services.batches.batches import Batch
from api.services.batches.cluster import decided_on_cluster
from api.services.batches.derived import Specify
from api.services.batches.formats import CSV, PARQUET, writer_of
from api.services.batches.parts import (
    Done,
    Job,
    Joined,
    Part,
    clear,
    decide_part,
    deciding,
    parts_of,
    pieces_of,
)
from api.version import VERSION

Summary = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Parts:
    """What is asked: a pattern, or one file to be decided elsewhere, and how it is answered."""

    file: Path | str
    output: Path | None
    rules: Sequence[Mapping[str, Any]]
    default: str | None
    raw: bool
    summary_line: bool
    specify: Specify


def evaluate_parts(asked: Parts, dask: str | None) -> Summary:
    """Decide all parts and return the totals; nothing stands at the output before all is whole."""
    try:
        parts = _parts(asked)
        if asked.output is None and dask is not None:
            raise click.UsageError("--dask needs --output, where every worker can write")
        into_folder = asked.output is not None and not asked.output.suffix
        if dask is None and not into_folder:
            return _here(asked, parts)
        return _one_by_one(asked, parts, dask, into_folder)
    except TraceholdError as error:
        raise Refused(error.detail, error.issues) from error


def _parts(asked: Parts) -> list[Part]:
    file, output = asked.file, asked.output
    parts = parts_of(file) if isinstance(file, str) else [Part(file.absolute(), None)]
    kinds = {kind_named(parts[0].path, "FILE")}
    if output is not None and output.suffix:
        kinds.add(kind_named(output, "--output"))
    if not kinds <= {CSV, PARQUET}:
        raise click.UsageError("parts come and go as .csv or .parquet")
    if output is not None and output.absolute() in {part.path for part in parts}:
        raise InvalidRecord(f"{output} is one of the parts; name another output")
    return parts


def _here(asked: Parts, parts: list[Part]) -> Summary:
    """Decide in this process, piece by piece, into one file or stdout."""
    kind = kind_named(parts[0].path, "FILE")
    answer = kind if asked.output is None else kind_named(asked.output, "--output")
    how = deciding(asked.rules, asked.default, row_fault, asked.specify)
    pieces = pieces_of(_shown(parts, len(parts)), kind, answer)
    batch = Batch(pieces, how, writer_of(answer, asked.raw, asked.summary_line))
    with target_of(asked.output) as target:
        write_beside(target, batch)
    return batch.summary()


def _one_by_one(asked: Parts, parts: list[Part], dask: str | None, into_folder: bool) -> Summary:
    """Decide every part into a file of its own, and join them unless a folder is wanted."""
    output = asked.output
    if output is None or (into_folder and output.exists()):
        raise InvalidRecord(f"{output} exists already; name a new folder")
    folder = output.absolute().with_name(f".{output.name}.{os.getpid()}.parts")
    targets = _targets(parts, folder, None if into_folder else output.suffix)
    jobs = [
        _job(asked, part, target, heading=into_folder or not place, apart=into_folder)
        for place, (part, target) in enumerate(zip(parts, targets, strict=True))
    ]
    folder.mkdir()
    try:
        found = _decided(jobs, dask, asked.specify)
        joined = Joined(parts, targets, _shown(found, len(parts)), asked.summary_line)
        if into_folder:
            for _ in joined.counted():
                pass
            folder.rename(output)
        else:
            with target_of(output) as opened:
                write_beside(opened, joined)
    finally:
        clear(folder)
    return joined.totals.summary


def _decided(jobs: Sequence[Job], dask: str | None, specify: Specify) -> Iterator[Done]:
    if dask is None:
        return (decide_part(job, row_fault, specify) for job in jobs)
    return decided_on_cluster(dask, jobs, row_fault, specify)


def _targets(parts: Sequence[Part], folder: Path, suffix: str | None) -> list[Path]:
    """Files of the decided parts: in a folder that stays, under the names of the parts."""
    if suffix is not None:
        return [folder / f"{place}{suffix}" for place in range(len(parts))]
    names = [part.path.name for part in parts]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InvalidRecord(f"two parts are named {twice}; name an output file instead of a folder")
    return [folder / name for name in names]


def _job(asked: Parts, part: Part, target: Path, *, heading: bool, apart: bool) -> Job:
    return Job(
        VERSION,
        str(part.path),
        part.name,
        str(target),
        asked.rules,
        asked.default,
        asked.raw,
        asked.summary_line and apart,
        heading,
    )


def _shown(done: Iterable[Any], total: int) -> Iterator[Any]:
    """Show on a terminal how many parts are done."""
    if not sys.stderr.isatty():
        yield from done
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(done, "Deciding parts", total, console=Console(stderr=True), transient=True)
