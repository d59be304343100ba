"""Commands that work on the database itself, and load the application only when they run."""

from __future__ import annotations

import getpass
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from api.commands.output import Refused, as_json, console, print_json, say

if TYPE_CHECKING:
    from api.store.database import Database
    from api.store.journal import Author

NOT_MIGRATED = "the database is not at the schema of this version; run: tracehold migrate"
LOOPBACK = ("127.0.0.1", "localhost", "::1")


@contextmanager
def opened(*, migrated: bool = True) -> Iterator[Database]:
    """Open the database of the settings; refuse one that cannot be used, with the reason."""
    from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

    from api.errors import TraceholdError
    from api.settings import SettingError, Settings
    from api.store import migrate
    from api.store.database import Database

    try:
        database = Database(Settings.from_environment().database_url)
    except SettingError as error:
        raise Refused(str(error)) from error
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError) as error:
        raise Refused(f"TRACEHOLD_DATABASE_URL cannot be used: {error}") from error
    try:
        if migrated and not migrate.is_current(database):
            raise Refused(NOT_MIGRATED)
        yield database
    except DBAPIError as error:
        raise Refused(f"the database cannot be used: {error.orig}") from error
    except TraceholdError as error:
        raise Refused(error.detail, error.issues) from error
    finally:
        database.dispose()


@click.command()
def migrate() -> None:
    """Bring the database to the schema of this version; safe to repeat."""
    from api.services.alerts import raising
    from api.store import migrate as migrations

    with opened(migrated=False) as database:
        before = migrations.current(database)
        migrations.upgrade(database)
        with database.read() as session:
            behind = not raising.is_up_to_date(session)
        if behind:  # what was recorded before there were alerts
            with database.write(_author("migrate")) as session:
                raising.follow(session)
        after = migrations.current(database)
    say(f"The database was at {before or 'nothing'} and is now at {after}.")


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, help="Port to listen on; 0: any free one.")
@click.option("--threads", default=8, show_default=True, help="Requests served at the same time.")
def serve(host: str, port: int, threads: int) -> None:
    """Serve the API and its pages over HTTP until interrupted.

    Told to stop, it refuses new requests and finishes those that run, for TRACEHOLD_STOP_SECONDS.
    """
    from api.background import Background
    from api.commands.stopping import Server
    from api.serving import made
    from api.settings import Settings

    with opened() as database:
        settings = Settings.from_environment()
        try:
            server = Server(made(settings, database), host, port, threads)
        except OSError as error:
            raise Refused(f"cannot listen on {host} port {port}: {error.strerror}") from error
        at = f"http://{f'[{host}]' if ':' in host else host}:{server.port}"
        say(f"Serving {at} (documentation: {at}/v1/docs); Ctrl-C ends it.")
        if host not in LOOPBACK:
            say("Keys travel in the clear: put a proxy with TLS in front for other machines.")
        background = Background(database)
        if Settings.is_yes(settings.check_recalls):
            background.start()
        try:
            cut = server.run(float(settings.stop_seconds))
        finally:
            background.stop()
        if cut:
            raise Refused(f"stopped; {cut} request(s) had not finished in time and were cut off")


@click.group()
def keys() -> None:
    """Create, list, rotate and revoke API keys, directly in the database."""


@keys.command("create")
@click.option("--name", required=True, help="Who or what will use the key.")
@click.option(
    "--scopes",
    required=True,
    help="Comma-separated, of read, decide, record, recall, admin; admin holds them all.",
)
@click.option("--customer", help="Customer whose records alone the key may see.")
@click.option("--person", help="Id of the recorded person for whom the key speaks.")
@click.option("--expires", help="Date or date-time with zone at which the key ends.")
def create_key(
    name: str, scopes: str, customer: str | None, person: str | None, expires: str | None
) -> None:
    """Create a key; it is the last line of stdout and cannot be shown again."""
    from api.services.access import keys as service

    wanted = [scope.strip() for scope in scopes.split(",") if scope.strip()]
    with opened() as database, database.write(_author("keys create")) as session:
        record, token = service.create_key(
            session,
            name,
            wanted,
            customer,
            service.expiry_of(expires),
            person=person,
            now=_now(),
        )
    say(f"Key {record.public_id} for {name}: {', '.join(record.scopes)}. It is shown only now.")
    click.echo(token)


@keys.command("list")
@as_json
def list_keys(as_json: bool) -> None:
    """List all keys, revoked ones too; secrets are not stored and not shown."""
    from api.services.access import keys as service

    found: list[dict[str, Any]] = []
    with opened() as database, database.read() as session:
        after = None
        while True:
            records, after = service.list_keys(session, after)
            found += [service.shown(record) for record in records]
            if after is None:
                break
    if as_json:
        print_json(found)
        return
    from api.commands.views import plain_table

    table = plain_table("id", "name", "scopes", "customer", "expires", "revoked", "last used")
    for key in found:
        rest = (
            key[name] or "-" for name in ("customer", "expires_at", "revoked_at", "last_used_at")
        )
        table.add_row(key["id"], key["name"], ", ".join(key["scopes"]), *rest)
    console().print(table)


@keys.command("rotate")
@click.argument("key_id", metavar="ID")
@click.option(
    "--grace-hours",
    type=click.IntRange(0, 720),
    default=24,
    show_default=True,
    help="How long the old key stays valid; 0 ends it at once.",
)
@click.option("--expires", help="End of the new key; default: that of the old one.")
def rotate_key(key_id: str, grace_hours: int, expires: str | None) -> None:
    """Replace the key ID by a new one, the last line of stdout; the old one ends after a grace."""
    from api.services.access import keys as service

    with opened() as database, database.write(_author("keys rotate")) as session:
        old, made, token = service.rotate(
            session,
            key_id,
            grace_hours * service.HOUR_US,
            service.expiry_of(expires),
            now=_now(),
        )
    ends = service.shown(old)["expires_at"]
    say(f"Key {made.public_id} replaces {old.public_id}, which ends at {ends}.")
    click.echo(token)


@keys.command("revoke")
@click.argument("key_id", metavar="ID")
def revoke_key(key_id: str) -> None:
    """Revoke the key ID for good; a running server notices within seconds."""
    from api.services.access import keys as service

    with opened() as database, database.write(_author("keys revoke")) as session:
        record = service.revoke(session, key_id, _now())
    say(f"Key {record.public_id} of {record.name} is revoked.")


@click.command()
def settings() -> None:
    """List every setting with its environment variable, present value, default and meaning.

    Passwords and secrets are not shown.
    """
    from api.client.wire import DEFAULT_URL
    from api.commands.views import plain_table
    from api.settings import KEY, URL, listed, masked, masked_key

    table = plain_table("environment variable", "value", "default", "meaning")
    for one in listed(os.environ):
        table.add_row(one.variable, one.value, one.default, one.meaning)
    asked = os.environ.get(URL) or DEFAULT_URL
    table.add_row(URL, masked(asked), DEFAULT_URL, "server that client and command line ask")
    key = masked_key(os.environ.get(KEY, ""))
    table.add_row(KEY, key or "-", "-", "API key that client and command line send")
    console().print(table)


def _author(command: str) -> Author:
    """The account of this machine that runs a command, for the journal."""
    from api.store.journal import Author

    try:
        account = getpass.getuser()
    except (OSError, KeyError):  # no name is known for the account; before Python 3.13 KeyError
        account = "unknown account"
    return Author(f"command {command}", person=account)


def _now() -> int:
    return time.time_ns() // 1000
