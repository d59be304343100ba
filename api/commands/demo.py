"""`tracehold demo`: the story of an invented laboratory, over real HTTP, in about ten seconds.

It starts a server on a free port of this machine with a new database, and does everything through
the client, as a program of yours would.
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.commands.output import Refused, console, say
from api.services.base.cautions import CAUTION

if TYPE_CHECKING:
    from rich.console import Console

    from api.client import Client

DATABASE = "tracehold.db"
SETUPS = ("requirements", "setups")  # their files, as the story names them


@click.command()
@click.option(
    "--keep",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Leave the database in DIR, and say how to serve it.",
)
def demo(keep: Path | None) -> None:
    """Show the whole program on an invented laboratory; needs no network and no set-up."""
    with tempfile.TemporaryDirectory(prefix="tracehold-demo-") as temporary:
        folder = keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        path = (folder / DATABASE).resolve()
        if path.exists():
            raise Refused(f"{path} exists already; name another folder")
        say("Starting a server with a new database ...")
        with laboratory(path) as (client, token):
            _tell(console(), client)
        _how_to_go_on(path if keep else None, token)


@contextmanager
def laboratory(path: Path) -> Iterator[tuple[Client, str]]:
    """Serve a new, migrated SQLite database; yields a client and its key."""
    from api.app import create_app
    from api.client import Client
    from api.commands.embedded import serving
    from api.services.access.keys import SCOPES, create_key
    from api.store import migrate
    from api.store.database import Database
    from api.store.journal import Author

    database = Database(f"sqlite:///{path}")
    try:
        migrate.upgrade(database)
        with database.write(Author("command demo")) as session:
            now = time.time_ns() // 1000
            _, token = create_key(session, "demonstration", SCOPES, now=now)
        with serving(create_app(database=database)) as url, Client(url, token) as client:
            yield client, token
    finally:
        database.dispose()


def _tell(out: Console, client: Client) -> None:
    from api.commands.views import batch_view, chain_view, facts, import_table

    source = files("fixtures.demo_lab")
    story = json.loads(source.joinpath("story.json").read_bytes())
    lab = source.joinpath(story["laboratory"]).read_bytes()
    out.rule(story["title"])
    out.print(
        f"An invented laboratory: {json.loads(lab)['title']}. No person, firm, instrument or "
        f"certificate in it is real.\nA server runs at {client.url}; everything below is asked of "
        "it over HTTP."
    )
    _chapter(out, 1, "The laboratory file goes in, all or nothing")
    out.print(import_table(_timed(out, lambda: client.import_laboratory(lab))))

    _chapter(out, 2, story["batch_title"])
    results = source.joinpath(story["batch"]).read_bytes()
    out.print(batch_view(_timed(out, lambda: client.batch(csv=results))))

    for number, prefix in ((3, ""), (4, "second_")):
        _chapter(out, number, story[f"{prefix}fault_title"])
        out.print(facts(("-", line) for line in story[f"{prefix}fault_story"]))
        out.print()
        _recall(out, client, story[f"{prefix}fault"], brief=number > 3)

    shown = story["fault_expected"]["diamond"]
    _chapter(out, 5, f"What {shown['certificate']} rests on, up to external certificates")
    out.print(chain_view(client.chain(shown["certificate"], revision=shown["revision"])))

    _chapter(out, 6, story["setups_title"])
    _setups(out, client, *(json.loads(source.joinpath(story[n]).read_bytes()) for n in SETUPS))


def _setups(
    out: Console, client: Client, requirements: list[Any], planned: list[Mapping[str, Any]]
) -> None:
    from api.commands.setup_view import setup_view

    for requirement in requirements:
        client.record_requirement(requirement)
    for one in planned:
        out.print(f"{one['title']}. {' '.join(one['story'])}", style="bold")
        out.print(setup_view(_timed(out, partial(client.check_setup, one["setup"]))))


def _recall(out: Console, client: Client, fault: Mapping[str, Any], *, brief: bool) -> None:
    from api.commands.recall_view import print_recall

    answer = _timed(out, lambda: client.report_fault(fault))
    print_recall(out, answer, lambda name: iter(answer[name]), brief=brief)


def _chapter(out: Console, number: int, title: str) -> None:
    out.print()
    out.rule(f"{number}. {title}", align="left")


def _timed(out: Console, ask: Callable[[], Any]) -> Any:
    began = time.perf_counter()
    answer = ask()
    out.print(f"Answered in {time.perf_counter() - began:.2f} s.", style="dim")
    return answer


def _how_to_go_on(path: Path | None, token: str) -> None:
    out = console()
    out.print()
    out.rule("Caution", align="left")
    out.print(CAUTION)
    out.print()
    out.rule("How to go on", align="left")
    if path is None:
        steps = [
            "tracehold migrate",
            "tracehold keys create --name me --scopes read,decide,record,recall",
            "tracehold serve",
        ]
        out.print("With a database of your own (tracehold settings says where it is):")
    else:
        steps = [
            f'export TRACEHOLD_DATABASE_URL="sqlite:///{path}"',
            f"export TRACEHOLD_API_KEY={token}",
            "tracehold serve &",
            "tracehold recall --show 1",
        ]
        out.print(f"The database of this demonstration stays in {path}:")
    for step in steps:
        out.print(f"  {step}", soft_wrap=True)
    if path is None:
        out.print(
            "then set TRACEHOLD_API_KEY to the key, and: tracehold import your-laboratory.json\n"
            "To keep the database of this demonstration: tracehold demo --keep DIR"
        )
