"""`tracehold import`: a laboratory file, lines of one, or CSV files of a spreadsheet."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.commands.output import (
    Refused,
    as_json,
    console,
    in_terminal,
    print_json,
    say,
    with_client,
)
from api.commands.remote import FILE, read_json

if TYPE_CHECKING:
    from api.client import Answer, Client

LINES = (".ndjson", ".jsonl")
CSV = ".csv"
COLLECTIONS = (
    *("items", "composition", "calibrations", "uses", "results", "checks"),
    "requirements",
)
Json = Mapping[str, Any]


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option(
    "--mapping", "mapping_file", type=FILE, help="JSON file: which column is which field."
)
@click.option(
    "--collection",
    type=click.Choice(COLLECTIONS),
    help="What the rows of one CSV file are; without a mapping its columns are named as fields.",
)
@click.option("--dry-run", is_flag=True, help="Check the files and store nothing.")
@click.option(
    "--skip-refused", is_flag=True, help="CSV: leave refused rows out instead of storing nothing."
)
@click.option(
    "--report",
    "report_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="CSV: file to write every refused row to, .csv or .json.",
)
@as_json
@with_client
def import_(
    client: Client,
    files: tuple[Path, ...],
    mapping_file: Path | None,
    collection: str | None,
    dry_run: bool,
    skip_refused: bool,
    report_file: Path | None,
    as_json: bool,
) -> None:
    """Import a laboratory, all or nothing; the same FILES again change nothing.

    FILES is one file of JSON or NDJSON (.ndjson, .jsonl), or the .csv files of a spreadsheet with
    a --mapping.
    """
    say(f"{'Checking' if dry_run else 'Importing'} {', '.join(map(str, files))} ...")
    if all(file.suffix.lower() == CSV for file in files):
        mapping = _mapping(files, mapping_file, collection)
        answer = _csv(client, files, mapping, dry_run, skip_refused, report_file)
    elif len(files) > 1:
        raise click.UsageError("several FILES are CSV files")
    elif mapping_file or collection or skip_refused or report_file:
        raise click.UsageError(
            "--mapping, --collection, --skip-refused and --report go with CSV files"
        )
    elif files[0].suffix.lower() in LINES:
        with _progress(files[0]) as seen:
            answer = client.import_lines(files[0], dry_run, seen)
    else:
        answer = client.import_laboratory(files[0], dry_run)
    _show(answer, dry_run, as_json)
    if dry_run and not skip_refused and answer.get("refused"):
        raise Refused("rows were refused; nothing would be stored")


def _csv(
    client: Client,
    files: Sequence[Path],
    mapping: Json,
    dry_run: bool,
    skip_refused: bool,
    report_file: Path | None,
) -> Answer:
    from api.client import InvalidRequest

    sent: dict[str, bytes | Path] = {file.name: file for file in files}
    if len(sent) < len(files):
        raise click.UsageError("two FILES have the same name")
    try:
        answer = client.import_csv(sent, mapping, dry_run, skip_refused)
    except InvalidRequest as error:
        if error.report is None:
            raise
        _write_report(report_file, error.report)
        _tell_refused(error.report)
        raise Refused(error.detail) from error
    _write_report(report_file, answer)
    return answer


def _mapping(files: Sequence[Path], mapping_file: Path | None, collection: str | None) -> Json:
    """Return the whole mapping; of one for a single collection, or of none, one is made."""
    if mapping_file is None and collection is None:
        raise click.UsageError("CSV files need --mapping, or --collection")
    mapping = {} if mapping_file is None else read_json(mapping_file)
    if not isinstance(mapping, dict) or not isinstance(mapping.get("tables", []), list):
        raise click.BadParameter("not a mapping", param_hint="--mapping")
    if collection is None:
        return mapping
    if len(files) > 1:
        raise click.UsageError("--collection speaks of one file")
    table = {"file": files[0].name, "collection": collection}
    if "tables" not in mapping:
        return {"tables": [{**mapping, **table}]}
    tables = [one for one in mapping["tables"] if isinstance(one, dict)]
    own = [one for one in tables if one.get("collection") == collection]
    if not own:
        raise click.BadParameter(f"it has no table of {collection}", param_hint="--mapping")
    return {**mapping, "tables": [{**one, **table} for one in own]}


def _show(answer: Answer, dry_run: bool, as_json: bool) -> None:
    if as_json:
        print_json(answer)
        return
    from api.commands.views import import_table

    if answer.get("refused") or answer.get("missing"):
        _tell_refused(answer)
    console().print(import_table(answer))
    for note in answer.get("notes", ()):
        say(note["detail"])
    if raised := answer.get("alerts"):
        say(f"{raised} alert(s) raised or opened again; each waits for an answer.")
    say("Nothing was stored: this was a dry run." if dry_run else "Done.")


def _tell_refused(report: Json) -> None:
    from api.commands.views import missing_table, refused_table

    out = console()
    if report["refused"]:
        out.print(refused_table(report["refused"]))
    if report["missing"]:
        out.print(missing_table(report["missing"]))
    for one in report["files"]:
        dragged = f", {one['dragged']} with them" if one["dragged"] else ""
        say(f"{one['file']}: {one['rows']} rows, {one['refused']} refused{dragged}")
        if one["unused_columns"]:
            say(f"  columns not used: {', '.join(one['unused_columns'])}")


def _write_report(file: Path | None, report: Json) -> None:
    if file is None:
        return
    if file.suffix.lower() == CSV:
        from api.services.imports.csv_reports import report_csv

        text = "".join(report_csv(report["refused"], raw=False))
    else:
        found = {name: report[name] for name in ("files", "refused", "missing")}
        text = json.dumps(found, indent=2, ensure_ascii=False) + "\n"
    file.write_text(text, encoding="utf-8", newline="")
    say(f"{len(report['refused'])} refused row(s) in {file}.")


@contextmanager
def _progress(file: Path) -> Iterator[Callable[[int], None]]:
    """Show on a terminal how much of the file is sent."""
    if not in_terminal():
        yield lambda read: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("Sending", total=file.stat().st_size)
        yield lambda read: shown.update(task, completed=read)
