"""Files of results that `tracehold evaluate` reads and writes, whole or in parts."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import click

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
def target_of(output: Path | None) -> Iterator[BinaryIO]:
    """Open stdout, or a file that gets its name only when it is whole."""
    if output is None:
        yield sys.stdout.buffer
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
