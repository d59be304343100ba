"""Commands for snapshots: take one of the database, check one, ask one for a recall."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import click

from api.commands.local import opened
from api.commands.output import Refused, as_json, console, print_json, say
from api.commands.requests import refusing, requested

DAMAGED = 1


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(file_okay=False, path_type=Path))
@click.option("--check", is_flag=True, help="Check the snapshot in DIR against its hashes instead.")
@as_json
@click.pass_context
def snapshot(context: click.Context, folder: Path, check: bool, as_json: bool) -> None:
    """Write the graph and what a recall needs into the new folder DIR, as Parquet files.

    It is one consistent snapshot, taken while servers go on, with a manifest: as-of, schema, rows
    and hashes. Names of customers are in it: keep it as the database is kept.
    """
    if check:
        _check(context, folder)
        return
    from api.services.upkeep import snapshots
    from api.store import migrate

    with opened() as database:
        now_us = time.time_ns() // 1000  # before the first read: what it saw, is in
        with database.read() as session:
            schema = migrate.current(database) or ""
            manifest = snapshots.take(session, folder, schema, now_us)
    if as_json:
        print_json(manifest)
        return
    from api.commands.views import plain_table

    table = plain_table("file", "rows", "bytes", right=("rows", "bytes"))
    for name, one in manifest["files"].items():
        table.add_row(name, f"{one['rows']:,}", f"{one['bytes']:,}")
    console().print(table)
    say(f"{folder} holds everything recorded up to {manifest['as_of']}.")


def _check(context: click.Context, folder: Path) -> None:
    from api.errors import InvalidRecord
    from api.services.upkeep import snapshots

    try:
        damaged = snapshots.opened(folder).damaged()
    except InvalidRecord as error:
        raise Refused(error.detail) from error
    for name in damaged:
        click.echo(f"{name} is not as it was written")
    if damaged:
        context.exit(DAMAGED)
    say("Every file is as it was written.")


def recalled(folder: Path, faults: Any) -> dict[str, Any]:
    """Answer a fault, or a list of faults, from a snapshot, as the server answers a preview."""
    from api.services.recalls import recalls
    from api.services.upkeep import snapshots

    request = requested(faults)
    with refusing():
        answer = snapshots.recall(snapshots.opened(folder), request)
    lists = {name: list(map(json.loads, texts)) for name, texts in recalls.texts(answer).items()}
    return {**recalls.preview_answer(answer), **lists}
