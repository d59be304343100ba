"""`tracehold recall --reach`: which certificates could be affected, from the records themselves.

Choice: it answers at once. A SQLite file is read through the standard library, and nothing is
imported on the way that this answer does not need (`tests/contracts/test_imports.py`); a table is
written without the library for tables. PostgreSQL goes the ordinary way, a snapshot its own.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from api.commands.output import Refused
from api.commands.requests import refusing, requested
from api.commands.windows import window_sentence
from api.services.recalls.reach import first_list
from api.settings import SettingError, Settings
from api.store import reading
from api.store.sources import Recorded, Source

COLUMNS = ("certificate", "revision", "item", "customer", "performed")


def reached(faults: Any, folder: Path | None) -> dict[str, Any]:
    """Return the first list of a fault, or of several, from a snapshot or from the database."""
    request = requested(faults)
    with refusing(), _source(folder) as (source, now_us):
        return first_list(source, request, now_us)


def show(answer: Mapping[str, Any]) -> None:
    """Print a first list to be read."""
    lines = [f"First list: {answer['count']} certificates", answer["meaning"]]
    windows = [answer["window"]] if "window" in answer else answer["windows"]
    lines += [window_sentence(window) for window in windows]
    lines += [f"Note: {note}" for note in answer["notes"]]
    rows = [
        (
            one["certificate"],
            str(one["revision"]),
            one["item"],
            one.get("customer") or one.get("issuer") or "-",
            one["performed_at"],
        )
        for one in answer["certificates"]
    ]
    click.echo("\n".join([*lines, "", *_table([COLUMNS, *rows])]))


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    form = "  ".join(f"{{:<{width}}}" for width in widths)
    return [form.format(*row).rstrip() for row in rows]


@contextmanager
def _source(folder: Path | None) -> Iterator[tuple[Source, int]]:
    """Open where the records are read, and tell the instant that counts as now."""
    if folder is not None:
        from api.services.upkeep import snapshots

        snapshot = snapshots.opened(folder)
        yield snapshot, snapshots.as_of_us(snapshot)
        return
    now_us = time.time_ns() // 1000
    try:
        file = reading.file_of(Settings.from_environment().database_url)
        if file is not None:
            with reading.opened(file) as reader:
                yield Recorded(reader), now_us
            return
    except SettingError as error:
        raise Refused(str(error)) from error
    except reading.Unreadable as error:
        raise Refused(str(error), note="TRACEHOLD_DATABASE_URL names the database.") from error
    from api.commands.local import opened

    with opened() as database, database.read() as session:
        yield Recorded(reading.SessionReader(session)), now_us
