"""Every command and option of the command line says what it is for."""

from __future__ import annotations

from collections.abc import Iterator

import click
import pytest

from api.cli import main

NAMES = {
    "backup",
    "decide",
    "demo",
    "evaluate",
    "import",
    "journal export",
    "journal verify",
    "keys create",
    "keys list",
    "keys revoke",
    "migrate",
    "recall",
    "recalls check",
    "restore",
    "serve",
    "settings",
    "snapshot",
    "trace",
    "verify",
}


def members(group: click.Group) -> Iterator[tuple[str, click.Command]]:
    """Commands of one group; those of the whole are imported when they are asked for."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield name, command


def commands(group: click.Group, prefix: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command with its full name, groups left out."""
    for name, command in members(group):
        if isinstance(command, click.Group):
            yield from commands(command, f"{prefix}{name} ")
        else:
            yield f"{prefix}{name}", command


ALL = dict(commands(main))


def test_the_commands_are_those_that_are_documented_or_more():
    assert set(ALL) >= NAMES


@pytest.mark.parametrize("name", ALL)
def test_every_command_is_explained_in_a_sentence(name):
    assert ALL[name].help
    assert ALL[name].help.split("\n")[0].rstrip().endswith((".", ":", ";"))


@pytest.mark.parametrize("name", ALL)
def test_every_option_is_explained(name):
    options = [one for one in ALL[name].params if isinstance(one, click.Option)]
    assert [one.name for one in options if not one.help] == []


@pytest.mark.parametrize("name", ALL)
def test_every_argument_is_named_in_the_explanation(name):
    arguments = [one for one in ALL[name].params if isinstance(one, click.Argument)]
    shown = [(one.metavar or one.name or "").upper() for one in arguments]
    assert [word for word in shown if word not in (ALL[name].help or "")] == []


def test_a_group_is_explained_too():
    groups = [one for _, one in members(main) if isinstance(one, click.Group)]
    assert all(group.help for group in [main, *groups])
