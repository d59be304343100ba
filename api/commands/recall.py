"""`tracehold recall`: a fault is reported to a server, or asked of the records without one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.commands.output import as_json, console, print_json, say, with_client
from api.commands.remote import FILE, read_json

if TYPE_CHECKING:
    from api.client import Answer, Client


@click.command()
@click.argument("file", required=False, type=FILE)
@click.option("--show", type=int, metavar="ID", help="Show a stored recall instead.")
@click.option("--preview", is_flag=True, help="Answer without storing the recall.")
@click.option("--previous", type=int, metavar="ID", help="Recall that this one follows up.")
@click.option(
    "--snapshot",
    "folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Answer from a snapshot in this folder, without a server; nothing is stored.",
)
@click.option(
    "--reach",
    is_flag=True,
    help="Name at once, from the database itself, what could be affected; nothing is judged.",
)
@as_json
def recall(
    file: Path | None,
    show: int | None,
    preview: bool,
    previous: int | None,
    folder: Path | None,
    reach: bool,
    as_json: bool,
) -> None:
    """Report the fault in FILE (JSON) and list the certificates that it reaches.

    FILE holds one fault, or a list of faults that are reported together. The first list of --reach
    needs no server: it reads TRACEHOLD_DATABASE_URL, or a --snapshot.
    """
    if (file is None) == (show is None):
        raise click.UsageError("give a FILE with the fault, or --show with the id of a recall")
    if reach:
        if file is None or previous is not None:
            raise click.UsageError("a first list is not stored; give a FILE with the fault")
        _reach(file, folder, as_json)
    elif folder is None:
        _ask_server(file, show, preview, previous, as_json)
    elif file is None or previous is not None:
        raise click.UsageError("a snapshot holds no stored recalls; give a FILE with the fault")
    else:
        _ask_snapshot(file, folder, as_json)


@with_client
def _ask_server(
    client: Client,
    file: Path | None,
    show: int | None,
    preview: bool,
    previous: int | None,
    as_json: bool,
) -> None:
    if file is None:
        answer = client.recall(show or 0)
    else:
        say("Tracing the fault ...")
        answer = client.report_fault(_faults(file), preview, previous)
    if as_json:
        print_json({**answer, **_missing(client, answer)})
        return
    from api.commands.recall_view import print_recall

    print_recall(console(), answer, lambda name: _entries(client, answer, name))


def _ask_snapshot(file: Path, folder: Path, as_json: bool) -> None:
    from api.commands.recall_view import print_recall
    from api.commands.snapshots import recalled

    answer = recalled(folder, _faults(file))
    if as_json:
        print_json(answer)
        return
    say(f"As of {answer['as_of']}; recorded since then is not seen.")
    print_recall(console(), answer, lambda name: answer[name])


def _reach(file: Path, folder: Path | None, as_json: bool) -> None:
    from api.commands import reach

    answer = reach.reached(_faults(file), folder)
    if as_json:
        print_json(answer)
    else:
        reach.show(answer)


def _missing(client: Client, answer: Answer) -> dict[str, list[Any]]:
    """Lists that a very large answer only links to."""
    return {name: list(_entries(client, answer, name)) for name in answer.get("links", ())}


def _entries(client: Client, answer: Answer, list_name: str) -> Iterator[dict[str, Any]]:
    """Entries of one list, page by page where the answer is too large to carry them."""
    if list_name in answer:
        return iter(answer[list_name])
    return client.recall_entries(answer["id"], list_name)


def _faults(file: Path) -> Any:
    found = read_json(file)
    if isinstance(found, dict):
        # A whole request is taken as well, so that what was sent once can be sent again.
        return found.get("fault", found.get("faults", found))
    if not isinstance(found, list):
        raise click.BadParameter("neither a fault nor a list of faults", param_hint="FILE")
    return found
