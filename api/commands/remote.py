"""Commands that ask a server, through the client."""

from __future__ import annotations

import json
import sys
from collections.abc import Collection
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.commands.output import as_json, console, print_json, with_client

if TYPE_CHECKING:
    from api.client import Client

NONCONFORMING = ("conditional_fail", "fail")
NO_STATEMENT, UNSTATED = "no_statement", 4  # the verdict, and the exit code that it ends with
UNDECIDED = 5  # the exit code of a batch with rows that could not be decided, or without any
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command(context_settings={"ignore_unknown_options": True})  # -0.5 is a value
@click.argument("value")
@click.option("--U", "U", required=True, help="Expanded uncertainty, in the unit of the value.")
@click.option("--unit", required=True, help="Unit of the value, such as kN or %.")
@click.option(
    "--rule", required=True, help="Decision rule: simple, guard_U, four_state_U or yours."
)
@click.option("--lower", help="Lower tolerance limit.")
@click.option("--upper", help="Upper tolerance limit.")
@click.option("--nominal", help="Centre of the tolerance; 0 for an error.")
@click.option("--tolerance", help="Symmetric tolerance, or the id of a specification.")
@click.option("--k", help="Coverage factor of U; 2 unless given.")
@click.option("--dof", help="Effective degrees of freedom of U.")
@click.option("--prior", nargs=2, metavar="MEAN SD", help="Prior; asks for the global risks.")
@click.option("--no-store", is_flag=True, help="Decide without storing the decision.")
@click.option(
    "--fail-on-nonconformity",
    is_flag=True,
    help="End with exit code 1 if the verdict is fail or conditional fail, with 4 if the rule "
    "makes no statement.",
)
@as_json
@with_client
def decide(client: Client, as_json: bool, fail_on_nonconformity: bool, **sent: Any) -> None:
    """Decide whether the result VALUE conforms.

    Give --lower, --upper or both, or --nominal and --tolerance.
    """
    prior = sent.pop("prior")
    if prior is not None:
        sent["prior"] = {"mean": prior[0], "sd": prior[1]}
    answer = client.decide(sent.pop("value"), store=not sent.pop("no_store"), **sent)
    if as_json:
        print_json(answer)
    else:
        from api.commands.views import decision_view

        console().print(decision_view(answer))
    if fail_on_nonconformity:
        end_by([answer["verdict"]])


def end_by(verdicts: Collection[str], *, undecided: bool = False) -> None:
    """End with 1 for a nonconformity, else with UNDECIDED or UNSTATED where that is so, or go on.

    A result without statement is no nonconformity, and nothing that may be taken for a pass.
    """
    if any(verdict in NONCONFORMING for verdict in verdicts):
        sys.exit(1)
    if undecided:
        sys.exit(UNDECIDED)
    if NO_STATEMENT in verdicts:
        sys.exit(UNSTATED)


@click.command()
@click.argument("certificate")
@click.option("--issuer", help="Issuer, where several use this number.")
@click.option("--revision", type=int, help="Revision; the issued one unless given.")
@as_json
@with_client
def trace(
    client: Client, certificate: str, issuer: str | None, revision: int | None, as_json: bool
) -> None:
    """Show what CERTIFICATE rests on, up to external certificates, and every break."""
    answer = client.chain(certificate, issuer, revision)
    if as_json:
        print_json(answer)
        return
    from api.commands.views import chain_view

    console().print(chain_view(answer))


def read_json(file: Path) -> Any:
    """Content of a JSON file with all digits; a key that stands twice is refused."""
    try:
        return json.loads(
            file.read_bytes(),
            parse_float=Decimal,
            object_pairs_hook=_object,
            parse_constant=_number,
        )
    except ValueError as error:
        raise click.BadParameter(f"{file} is not JSON: {error}", param_hint="FILE") from error


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice!r} stands twice in one object")
    return found


def _number(text: str) -> None:
    raise ValueError(f"{text} is not a number in JSON")
