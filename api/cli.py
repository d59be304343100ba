"""The command line: what can be done from a shell.

Exit codes: 0 done; 1 a nonconformity, where --fail-on-nonconformity asks for it; 2 wrong usage;
3 refused, by the server, the network or the database. Data goes to stdout, messages to stderr.
"""

from __future__ import annotations

import os

import click

from api.commands.demo import demo
from api.commands.importing import import_
from api.commands.local import keys, migrate, serve, settings
from api.commands.offline import evaluate
from api.commands.output import say
from api.commands.recall import recall
from api.commands.remote import decide, trace
from api.commands.snapshots import snapshot
from api.commands.upkeep import backup, journal, restore, verify
from api.commands.webhooks import webhooks
from api.settings import unknown_warnings
from api.version import VERSION


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="tracehold", message="%(prog)s %(version)s")
def main() -> None:
    """Decide whether calibration results conform, and find what a faulty standard affects.

    Commands that ask a server read TRACEHOLD_URL and TRACEHOLD_API_KEY.

    To see it at work: tracehold demo.
    """
    for sentence in unknown_warnings(os.environ):
        say(f"Warning: {sentence}")


ON_THE_DATABASE = (demo, serve, migrate, keys, settings, webhooks, backup, restore, verify, journal)
BESIDE_IT = (snapshot,)
ON_A_SERVER = (import_, decide, evaluate, recall, trace)
for command in (*ON_THE_DATABASE, *BESIDE_IT, *ON_A_SERVER):
    main.add_command(command)
