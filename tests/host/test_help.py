"""Help: an example in every command that the program would take, and no heap of options without a heading."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator

import click
import pytest

from firstcrank.cli.grouped import GROUPS, GroupedCommand
from firstcrank.cli.main import cli

MANY = 8
ANYWHERE = {"yes", "plain", "as_json", "as_lines", "every"}


def commands() -> Iterator[tuple[str, click.Command]]:
    """Every command with its words."""

    def below(command: click.Command, command_name: str) -> Iterator[tuple[str, click.Command]]:
        if isinstance(command, click.Group):
            context = click.Context(command)
            for name in command.list_commands(context):
                found = command.get_command(context, name)
                assert found is not None
                yield from below(found, f"{command_name} {name}")
        else:
            yield command_name, command

    yield from below(cli, "firstcrank")


COMMANDS = dict(commands())


@pytest.mark.parametrize("command_name", COMMANDS)
def test_every_example_is_a_command_line_that_the_program_takes(command_name: str) -> None:
    command = COMMANDS[command_name]
    text = command.help or ""
    assert "Examples:" in text, f"{command_name}: no example"
    examples = re.findall(r"^\s*(firstcrank .+)$", text.split("Examples:")[1], re.M)
    assert examples
    for example in examples:
        named = next(w for w in sorted(COMMANDS, key=len, reverse=True) if example.startswith(w))
        assert COMMANDS[named] is command, example
        arguments = shlex.split(example[len(named) :].split(" > ")[0])
        command.make_context(command_name, arguments, resilient_parsing=False)  # raises where an option or a value is refused


@pytest.mark.parametrize("command_name", [w for w, c in COMMANDS.items() if isinstance(c, GroupedCommand)])
def test_long_commands_list_their_options_in_groups(command_name: str) -> None:
    command = COMMANDS[command_name]
    grouped = {name for _, names in GROUPS for name in names}
    options = {p.name for p in command.params if isinstance(p, click.Option)}
    assert options - grouped <= ANYWHERE
    shown = command.get_help(click.Context(command, info_name=command_name))
    assert sum(f"{title}:" in shown for title, _ in GROUPS) >= 3
    for name in options:
        option = next(p for p in command.params if p.name == name)
        assert option.opts[0] in shown


def test_a_command_with_many_options_of_a_recording_is_grouped() -> None:
    long = {
        command_name
        for command_name, command in COMMANDS.items()
        if {"limits_file", "port"} <= {p.name for p in command.params}
    }
    assert long
    assert all(isinstance(COMMANDS[command_name], GroupedCommand) for command_name in long)
