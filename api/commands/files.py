"""Files of results that `tracehold evaluate` reads and writes, whole or in parts."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, BinaryIO

import click

from api.commands.output import Refused, give_up_stdout

if TYPE_CHECKING:
    from api.services.batches.formats import Kind

ENDINGS = ".csv, .ndjson, .json, .parquet or .arrow"


def row_fault(cells: Mapping[str, str]) -> tuple[str, str] | None:
    """Say what is wrong with a row; most files never need the schema."""
    from api.schemas import batches

    return batches.row_fault(cells)


def kind_named(file: Path, name: str) -> Kind:
    """Return the format that the ending of a file's name tells."""
    from api.services.batches.formats import kind_of

    found = kind_of(file.suffix)
    if found is None:
        raise click.BadParameter(f"{file.name} does not end in {ENDINGS}", param_hint=name)
    return found


@contextmanager
def source_of(file: Path | None) -> Iterator[BinaryIO]:
    """Open a file, or a copy of standard input: not every format is read without going back."""
    if file is not None:
        with file.open("rb") as opened:
            yield opened
        return
    if sys.stdin is None:
        raise Refused("standard input is closed; name a file, or send the rows to it")
    with TemporaryFile() as kept:
        shutil.copyfileobj(sys.stdin.buffer, kept)
        kept.seek(0)
        yield kept


@contextmanager
def told_by_the_system() -> Iterator[None]:
    """Turn what the system refuses, as a full disk, into a refusal with an exit code of its own."""
    try:
        yield
    except OSError as error:
        if error.filename is None:
            give_up_stdout()
        place = error.filename or "output"
        raise Refused(f"{place}: {error.strerror or error}; nothing there is whole") from error


@contextmanager
def target_of(output: Path | None) -> Iterator[BinaryIO]:
    """Open stdout, or a file that gets its name only when it is whole."""
    if output is None:
        if sys.stdout is None:
            raise Refused("standard output is closed; name a file with --output")
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    part = output.with_name(f".{output.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as opened:
            yield opened
        part.replace(output)
    finally:
        part.unlink(missing_ok=True)


def write_beside(target: BinaryIO, parts: Iterable[bytes]) -> None:
    """Write each part while the next one is made; one waits at most, so that memory is bounded."""
    with ThreadPoolExecutor(1) as writing:
        written: Future[int] | None = None
        for part in parts:
            if written is not None:
                written.result()
            written = writing.submit(target.write, part)
        if written is not None:
            written.result()
