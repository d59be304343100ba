"""`tracehold evaluate`: a file of results, decided here with the kernel that the server uses."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from glob import has_magic
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import click

from api.commands.files import (
    ENDINGS,
    kind_named,
    row_fault,
    source_of,
    target_of,
    told_by_the_system,
    write_beside,
)
from api.commands.output import Refused, say
from api.commands.remote import FILE, end_by, read_json

if TYPE_CHECKING:
    from api.rules.rule import Rule
    from api.services.batches.derived import Specify


STDIN = "-"
_SPECIFIED = "--specifications"


class FileOrPattern(click.ParamType[Any]):
    """A file that exists, as a path, or a pattern of several, as text."""

    name = "file"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Path | str:
        """Return the path of a file; "-", and a pattern that is no file, stay text."""
        if value == STDIN or (has_magic(value) and not os.path.exists(value)):
            pattern: str = value
            return pattern
        path: Path = FILE.convert(value, param, ctx)
        return path


@click.command()
@click.argument("file", type=FileOrPattern())
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help=f"File to write, {ENDINGS}; else, or for -, stdout, in the format of FILE. For parts also "
    "a new folder, a file for each.",
)
@click.option(
    "--format",
    "of_stdin",
    type=click.Choice(["csv", "ndjson", "json", "parquet", "arrow"]),
    help="Format of standard input, where FILE is -.",
)
@click.option(
    "--dask",
    metavar="ADDRESS",
    help="Decide on the workers of this Dask scheduler, such as tcp://scheduler:8786.",
)
@click.option("--rule", help="Id of the rule for rows that name none.")
@click.option(
    "--rules", "rules_file", type=FILE, help="JSON file with a list of your own decision rules."
)
@click.option(
    _SPECIFIED,
    "specifications_file",
    type=FILE,
    help="JSON file with a list of specifications that rows may name.",
)
@click.option(
    "--summary-line", is_flag=True, help="CSV: end with a line #summary {...} that shows a cut."
)
@click.option(
    "--raw", is_flag=True, help="Leave cells that a spreadsheet would run as formulas as they are."
)
@click.option(
    "--fail-on-nonconformity",
    is_flag=True,
    help="End with exit code 1 if a row fails, conditionally or not; with 4 if none does, but the "
    "rule of a row makes no statement.",
)
def evaluate(
    file: Path | str,
    output: Path | None,
    of_stdin: str | None,
    dask: str | None,
    rule: str | None,
    rules_file: Path | None,
    specifications_file: Path | None,
    summary_line: bool,
    raw: bool,
    fail_on_nonconformity: bool,
) -> None:
    """Decide the results in FILE without a server or database.

    FILE is .csv, .ndjson, .json, .parquet or .arrow. Columns are value, U, k, dof,
    unit, lower, upper, or nominal and tolerance, and rule; others are passed through. U_rel_pct, in
    percent of the value, may stand for U; terms, a list of terms in JSON with reading, full_scale
    and resolution, for the tolerance; and the id of a specification for both limits. A row that
    cannot be decided comes back with its line and the reason. Under a rule with a precondition rows
    also say which branch of it decided and why, and the verdict may be no_statement.

    FILE may be - for standard input, or a pattern in quotation marks, such as 'part-*.parquet': the
    parts, .csv or .parquet, are one batch in the natural order of their names, and a row in error
    names its part too.

    Exit code 5 says that a row could not be decided, or that there was none; a nonconformity goes
    before it, where --fail-on-nonconformity asks.
    """
    from api.errors import TraceholdError
    from api.services.batches.batches import Batch, Deciding
    from api.services.batches.formats import read_pieces, writer_of

    documents = _documents(rules_file, "--rules", "rules")
    rules = _rules(documents)
    default = _default(rules, rule)
    specify = _specifications(specifications_file)
    if output is not None and str(output) == STDIN:
        output = None
    _refuse(file, of_stdin, dask)
    for name, read in (("FILE", file), ("--rules", rules_file), (_SPECIFIED, specifications_file)):
        _refuse_over(output, read, name)
    if (isinstance(file, str) and file != STDIN) or dask is not None:
        from api.commands.parts import Parts, evaluate_parts

        asked = Parts(file, output, documents, rule, raw, summary_line, specify)
        with told_by_the_system():
            summary = evaluate_parts(asked, dask)
        _finish(summary, fail_on_nonconformity)
        return
    deciding = Deciding(row_fault, rules, default, specify)
    path = file if isinstance(file, Path) else None
    kind = kind_named(Path(f"stdin.{of_stdin}") if path is None else path, "FILE")
    answer = kind if output is None else kind_named(output, "--output")
    try:
        with (
            told_by_the_system(),
            source_of(path) as source,
            target_of(output) as target,
            _progress(source) as seen,
        ):
            pieces, writer = read_pieces(source, kind, answer), writer_of(answer, raw, summary_line)
            batch = Batch(pieces, deciding, writer, seen)
            write_beside(target, batch)
    except TraceholdError as error:
        raise Refused(error.detail, error.issues) from error
    _finish(batch.summary(), fail_on_nonconformity)


def _refuse(file: Path | str, of_stdin: str | None, dask: str | None) -> None:
    """Refuse what contradicts itself, before anything is read."""
    if (file == STDIN) != (of_stdin is not None):
        raise click.UsageError("--format is for standard input, where FILE is -, and needed there")
    if file == STDIN and dask is not None:
        raise click.UsageError("--dask needs FILE, which every worker can read")


def _refuse_over(output: Path | None, read: Path | str | None, name: str) -> None:
    """Refuse to write over what is read."""
    if isinstance(read, Path) and output is not None and output.exists() and output.samefile(read):
        raise click.BadParameter(f"it is {name} itself; name another", param_hint="--output")


def _finish(summary: Mapping[str, Any], fail_on_nonconformity: bool) -> None:
    from api.commands.views import batch_summary

    say(str(batch_summary(summary)))
    verdicts = [name for name, count in summary["by_verdict"].items() if count]
    undecided = bool(summary["refused"]) or not summary["rows"]
    end_by(verdicts if fail_on_nonconformity else (), undecided=undecided)


@contextmanager
def _progress(source: BinaryIO) -> Iterator[Callable[[int], None]]:
    """Show on a terminal how many rows are done, and how much of the file is read."""
    if not sys.stderr.isatty():
        yield lambda rows: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    size = os.fstat(source.fileno()).st_size
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn())
    shown = Progress(*columns, TimeElapsedColumn(), console=Console(stderr=True), transient=True)
    with shown:
        task = shown.add_task("Deciding", total=size)

        def seen(rows: int) -> None:
            shown.update(task, description=f"{rows:,} rows", completed=min(source.tell(), size))

        yield seen


def _documents(file: Path | None, option: str, what: str) -> list[Any]:
    documents = [] if file is None else read_json(file)
    if not isinstance(documents, list):
        raise click.BadParameter(f"not a list of {what}", param_hint=option)
    return documents


def _specifications(file: Path | None) -> Specify:
    """Return what gives the limits of the specifications of a file, none without one."""
    from api.services.batches.derived import no_specifications

    if file is None:
        return no_specifications
    from marshmallow import ValidationError

    from api.errors import TraceholdError
    from api.schemas.specifications import NewSpecificationSchema
    from api.services.decisions.specifications import specifications_from

    option = _SPECIFIED
    documents = _documents(file, option, "specifications")
    try:
        return specifications_from(NewSpecificationSchema(many=True).load(documents))
    except ValidationError as error:
        raise click.BadParameter(str(error.messages), param_hint=option) from error
    except TraceholdError as error:
        raise Refused(error.detail, error.issues) from error


def _rules(documents: list[Any]) -> dict[str, Rule]:
    from api.errors import Conflict
    from api.rules.rule import RuleError
    from api.services.batches.batches import rules_from

    try:
        return rules_from(documents)
    except RuleError as error:
        raise click.BadParameter(f"{error.field}: {error}", param_hint="--rules") from error
    except Conflict as error:
        raise Refused(error.detail, error.issues) from error


def _default(rules: dict[str, Rule], rule: str | None) -> Rule | None:
    if rule is not None and rule not in rules:
        known = ", ".join(rules)
        raise click.BadParameter(f"unknown rule {rule!r}; known: {known}", param_hint="--rule")
    return None if rule is None else rules[rule]
