"""What every command prints with: data to stdout, messages to stderr, refusals with their remedy.

Choice: on a terminal its own width and colours (none with NO_COLOR); elsewhere no escape codes and
a width that does not depend on where the output goes: that of COLUMNS, at least 100, else 120.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable
from contextlib import suppress
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Protocol

import click

if TYPE_CHECKING:
    from rich.console import Console

NARROWEST, USUAL = 100, 120
REFUSED = 3

as_json = click.option("--json", "as_json", is_flag=True, help="Print the whole answer as JSON.")


class Problem(Protocol):
    """One thing wrong in what was sent, from the server or from our own services."""

    @property
    def pointer(self) -> str | None:
        """JSON Pointer into what was sent."""

    @property
    def detail(self) -> str:
        """What is wrong."""

    @property
    def remedy(self) -> str | None:
        """How to mend it."""


class Refused(click.ClickException):
    """The server, the network or the database said no; the command ends with exit code 3."""

    exit_code = REFUSED

    def __init__(self, detail: str, problems: Iterable[Problem] = (), note: str = "") -> None:
        super().__init__(detail)
        self.problems = tuple(problems)
        self.note = note

    def format_message(self) -> str:
        """The detail, then each place with what is wrong there and how to mend it."""
        lines = [self.message]
        for one in self.problems:
            place = _place(one)
            said = f"{place}: {one.detail}" if place else one.detail
            if said.rstrip(".") != self.message.rstrip("."):
                lines.append(f"  {said}")
            if one.remedy:
                lines.append(f"    remedy: {one.remedy}")
        return "\n".join([*lines, *([self.note] if self.note else [])])


def give_up_stdout() -> None:
    """Let what is left for stdout go nowhere: nobody reads it, and the end must not try again."""
    if sys.stdout is not None:
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _place(problem: Problem) -> str:
    """Where something is wrong, in words: file and row, or line, then the pointer."""
    file, row, line = (getattr(problem, name, None) for name in ("file", "row", "line"))
    column = getattr(problem, "column", None)
    lines = [f"line {line}"] if line and not row else []
    rows = [f"{file} row {row}"] if row else [file] if file else []
    columns = [f"column {column}"] if column else []
    pointers = [problem.pointer or getattr(problem, "parameter", None) or ""]
    return ", ".join(filter(None, [*rows, *lines, *columns, *pointers]))


def say(message: str) -> None:
    """Print a message to stderr."""
    click.echo(message, err=True)


def in_terminal() -> bool:
    """Whether somebody reads the messages on a terminal."""
    return sys.stderr.isatty()


def print_json(value: Any) -> None:
    """Print JSON to stdout; its only fractions are probabilities, all else is text or whole."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False, default=_probability))


def _probability(value: object) -> float:
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def console() -> Console:
    """Console on stdout for tables; text that comes from records is never read as markup."""
    from rich.console import Console

    terminal = sys.stdout.isatty()
    return Console(
        width=None if terminal else _width(os.environ.get("COLUMNS", "")),
        force_terminal=None if terminal else False,
        markup=False,
        emoji=False,
        highlight=False,
    )


def _width(columns: str) -> int:
    return max(NARROWEST, int(columns)) if columns.isdecimal() else USUAL


def words(name: str) -> str:
    """A word of the API as people read it.

    >>> words("conditional_fail")
    'conditional fail'
    """
    return name.replace("_", " ")


def short(number: str, digits: int = 3) -> str:
    """Number as text, rounded half-even to so many significant digits for reading only.

    >>> short("0.0699852897028"), short("-12345.6"), short("0.02")
    ('0.0700', '-12346', '0.02')
    """
    value = Decimal(number)
    if len(value.as_tuple().digits) <= digits or not value:
        return format(value, "f")
    last = Decimal(1).scaleb(min(value.adjusted() - digits + 1, 0))
    return format(value.quantize(last), "f")


def chance(probability: Decimal | None) -> str:
    """Probability in percent, to be read; a dash where there is none.

    >>> chance(Decimal("0.02275")), chance(Decimal("1e-12")), chance(None)
    ('2.28 %', '< 0.001 %', '-')
    """
    if probability is None:
        return "-"
    percent = 100 * Decimal(probability)
    if 0 < percent < Decimal("0.001"):
        return "< 0.001 %"
    if Decimal("99.999") < percent < 100:
        return "> 99.999 %"
    return f"{short(str(percent))} %"


def with_client(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command a client as its first argument, and turn its errors into refusals."""
    from functools import wraps

    @wraps(command)
    def connected(*args: Any, **kwargs: Any) -> Any:
        from api.client import ApiError, Client

        try:
            with Client() as client:
                return command(client, *args, **kwargs)
        except ApiError as error:
            note = f"request id: {error.request_id}" if error.status >= 500 else ""
            raise Refused(error.detail, error.errors, note) from error

    return connected
