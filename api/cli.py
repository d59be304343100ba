"""The command line: what can be done from a shell.

Choice: a command is imported when it is named, or when the list of all is asked for; the first list
of a recall would otherwise wait for commands that nobody called.

Exit codes: 0 done; 1 a nonconformity, where --fail-on-nonconformity asks for it; 2 wrong usage;
3 refused, by the server, the network, the database or the system; 4 no statement, where the same
option asks; 5 a row of a batch could not be decided, or there was none; 70 a fault of this program
(EX_SOFTWARE of sysexits.h), 130 interrupted. Data goes to stdout, messages to stderr.
"""

from __future__ import annotations

import errno
import os
import sys
import traceback
from collections.abc import Callable
from importlib import import_module
from typing import Any

import click

from api.commands.output import REFUSED, give_up_stdout, say
from api.settings import unknown_warnings
from api.version import VERSION
from api.web.collector import collect_seldom

ON_THE_DATABASE = {
    "backup": "upkeep",
    "demo": "demo",
    "journal": "upkeep",
    "keys": "local",
    "migrate": "local",
    "recalls": "recalls",
    "restore": "upkeep",
    "serve": "local",
    "settings": "local",
    "verify": "upkeep",
    "webhooks": "webhooks",
}
BESIDE_IT = {"snapshot": "snapshots"}
ON_A_SERVER = {
    "decide": "remote",
    "evaluate": "offline",
    "import": "importing",
    "recall": "recall",
    "trace": "remote",
}
MODULES = {**ON_THE_DATABASE, **BESIDE_IT, **ON_A_SERVER}


CRASHED, INTERRUPTED = 70, 130


class Commands(click.Group):
    """The commands by name, each imported from its module of `api.commands` when it is wanted."""

    # click's own signature says by overloads what it returns when.
    def main(self, *args: Any, standalone_mode: bool = True, **more: Any) -> Any:
        """Run a command; however it ends, no exit code but its own says nonconformity."""
        run: Callable[..., Any] = super().main
        if not standalone_mode:
            return run(*args, standalone_mode=False, **more)
        try:
            code = run(*args, standalone_mode=False, **more)
        except click.ClickException as error:
            error.show()
            code = error.exit_code
        except click.Abort:
            say("Interrupted: nothing that was being written is whole.")
            code = INTERRUPTED
        except Exception as error:
            code = _fallen(error)
        sys.exit(code if isinstance(code, int) else 0)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands."""
        return sorted(MODULES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in MODULES:
            return None
        module = import_module(f"api.commands.{MODULES[cmd_name]}")
        found = vars(module)[f"{cmd_name}_" if cmd_name == "import" else cmd_name]
        return found if isinstance(found, click.Command) else None


def _fallen(error: Exception) -> int:
    """Tell of a fault that nothing foresaw; whoever closed the pipe behind stdout knows."""
    if isinstance(error, OSError) and error.errno == errno.EPIPE:
        give_up_stdout()
        return REFUSED
    traceback.print_exception(error)
    return CRASHED


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="tracehold", message="%(prog)s %(version)s")
def main() -> None:
    """Decide whether calibration results conform, and find what a faulty standard affects.

    Commands that ask a server read TRACEHOLD_URL and TRACEHOLD_API_KEY.

    To see it at work: tracehold demo.
    """
    collect_seldom()
    for sentence in unknown_warnings(os.environ):
        say(f"Warning: {sentence}")
