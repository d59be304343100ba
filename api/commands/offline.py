"""`tracehold evaluate`: a file of results, decided here with the kernel that the server uses."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.commands.output import Refused, say
from api.commands.remote import FILE, NONCONFORMING, read_json

if TYPE_CHECKING:
    from api.rules.rule import Rule


@click.command()
@click.argument("file", type=FILE)
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write; stdout unless given.",
)
@click.option("--rule", help="Id of the rule for rows that name none.")
@click.option(
    "--rules", "rules_file", type=FILE, help="JSON file with a list of your own decision rules."
)
@click.option(
    "--raw", is_flag=True, help="Leave cells that a spreadsheet would run as formulas as they are."
)
@click.option(
    "--fail-on-nonconformity",
    is_flag=True,
    help="End with exit code 1 if a row fails, conditionally or not.",
)
def evaluate(
    file: Path,
    output: Path | None,
    rule: str | None,
    rules_file: Path | None,
    raw: bool,
    fail_on_nonconformity: bool,
) -> None:
    """Decide the results in FILE (CSV) without a server or database.

    Columns are value, U, k, dof, unit, lower, upper, or nominal and tolerance, and rule; others are
    passed through. A row that cannot be decided comes back with the reason.
    """
    from api.errors import TraceholdError
    from api.services import batches

    try:
        rules = _rules(rules_file)
        default = _default(rules, rule)
        frame, refused = batches.read_csv(file.read_bytes())
        decided = batches.decide_table(frame, rules, default, refused)
    except TraceholdError as error:
        raise Refused(error.detail, error.issues) from error
    written = batches.write_csv(decided, raw)
    if output is None:
        click.echo(written, nl=False)
    else:
        output.write_text(written, encoding="utf-8", newline="")
    summary = batches.summary(decided)
    _say(summary)
    if fail_on_nonconformity and any(summary["by_verdict"][name] for name in NONCONFORMING):
        sys.exit(1)


def _rules(file: Path | None) -> dict[str, Rule]:
    from api.rules.rule import RuleError
    from api.services import batches

    documents = [] if file is None else read_json(file)
    if not isinstance(documents, list):
        raise click.BadParameter("not a list of rules", param_hint="--rules")
    try:
        return batches.rules_from(documents)
    except RuleError as error:
        raise click.BadParameter(f"{error.field}: {error}", param_hint="--rules") from error


def _default(rules: dict[str, Rule], rule: str | None) -> Rule | None:
    if rule is not None and rule not in rules:
        known = ", ".join(rules)
        raise click.BadParameter(f"unknown rule {rule!r}; known: {known}", param_hint="--rule")
    return None if rule is None else rules[rule]


def _say(summary: dict[str, Any]) -> None:
    from api.commands.views import batch_summary

    say(str(batch_summary(summary)))
