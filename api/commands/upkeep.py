"""Commands that keep the store: back it up, restore and verify it, export and check its journal."""

from __future__ import annotations

from pathlib import Path
from typing import IO, TYPE_CHECKING

import click

from api.commands.local import opened
from api.commands.output import Refused, as_json, console, print_json, say

if TYPE_CHECKING:
    from api.services.upkeep.verification import Report

NOT_WHOLE = 1


@click.command()
@click.option(
    "--recalls",
    type=click.IntRange(0),
    default=25,
    show_default=True,
    metavar="N",
    help="Work out anew at most so many recalls, the newest first; each takes as long as it took.",
)
@as_json
@click.pass_context
def verify(context: click.Context, recalls: int, as_json: bool) -> None:
    """Check every invariant of the store and the whole journal; exit code 1 if something is wrong.

    It reads one snapshot and changes nothing, so a server may go on running.
    """
    from api.services.upkeep import verification

    with opened() as database, database.read() as session:
        report = verification.verify(session, recalls)
    if as_json:
        findings = [
            {"check": one.check, "subject": one.subject, "detail": one.detail}
            for one in report.findings
        ]
        print_json({"looked_at": report.looked_at, "findings": findings})
        if findings:
            context.exit(NOT_WHOLE)
    else:
        _tell(context, report)


def _tell(context: click.Context, report: Report) -> None:
    """Print a report; exit code 1 if something is wrong."""
    from api.commands.views import plain_table

    looked = plain_table("check", "looked at")
    for check, count in report.looked_at.items():
        looked.add_row(check, str(count))
    console().print(looked)
    for one in report.findings:
        click.echo(f"{one.check}: {one.subject}: {one.detail}")
    if report.findings:
        say(f"{len(report.findings)} finding(s): the store is not whole.")
        context.exit(NOT_WHOLE)
    say("Nothing is wrong with what was looked at.")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_context
def backup(context: click.Context, file: Path) -> None:
    """Copy the whole database to the new FILE while servers go on, and verify the copy.

    It holds everything, key hashes and webhook secrets too: keep it as the database is kept.
    """
    from api.services.upkeep import verification
    from api.store import backup as store
    from api.store.database import Database

    with opened() as database:
        try:
            store.back_up(database, file)
        except store.BackupError as error:
            raise Refused(str(error)) from error
    copy = Database(f"sqlite:///{file}")
    try:
        with copy.read() as session:
            report = verification.verify(session, recalls=0)
    finally:
        copy.dispose()
    _tell(context, report)


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.pass_context
def restore(context: click.Context, file: Path) -> None:
    """Fill the empty database of the settings from the backup FILE, and verify it.

    Either engine takes the backup of the other.
    """
    from api.services.upkeep import verification
    from api.store import backup as store

    with opened(migrated=False) as database:
        try:
            store.restore(file, database)
        except store.BackupError as error:
            raise Refused(str(error)) from error
        with database.read() as session:
            report = verification.verify(session, recalls=0)
    _tell(context, report)


@click.group()
def journal() -> None:
    """Export the journal, and check an export without the database."""


@journal.command("export")
@click.argument("file", type=click.File("wb"))
def export(file: IO[bytes]) -> None:
    """Write every line of the journal to FILE, one JSON object a line; - is stdout."""
    from api.services.upkeep import journal as service

    count = 0
    with opened() as database, database.read() as session:
        for body, hash_ in service.lines(session):
            file.write(service.exported(body, hash_))
            count += 1
        head = service.head(session)
    say(f"{count} line(s); the last has position {head['position']} and hash {head['hash']}.")


@journal.command("verify")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--position", type=int, help="Position that the last line must have.")
@click.option("--hash", "hash_", help="Hash that the last line must have.")
@click.pass_context
def verify_export(
    context: click.Context, file: Path, position: int | None, hash_: str | None
) -> None:
    """Check the export FILE: exit code 1 if a line was changed, removed, added or moved.

    That lines are missing at the end shows only against the position and hash noted elsewhere.
    """
    from api.services.upkeep import journal as service

    if (position is None) != (hash_ is None):
        raise click.UsageError("give both --position and --hash, or neither")
    last = None if position is None else {"position": position, "hash": hash_}
    with file.open("rb") as source:
        try:
            found = list(service.breaches(service.read_export(source), last))
        except ValueError as error:
            raise Refused(f"{file}: {error}") from error
    for one in found:
        click.echo(f"line {one.position}: {one.detail}")
    if found:
        context.exit(NOT_WHOLE)
    say("The chain is whole." if last else "The chain is whole as far as it goes.")
