"""firstcrank board: everything about the board itself. Each command is loaded when it is used."""

from __future__ import annotations

import importlib
from typing import Any

import click

# name -> (where the click command is, one line of help)
BOARD_COMMANDS: dict[str, tuple[str, str]] = {
    "list": ("firstcrank.cli.board_list:list_boards", "List the boards that are plugged in."),
    "install": ("firstcrank.cli.board_install:install", "Put the firmware on a board."),
    "calibrate": ("firstcrank.cli.board_calibrate:calibrate", "Calibrate the inputs with one meter."),
    "calibrations": (
        "firstcrank.cli.board_calibrations:calibrations",
        "Earlier calibrations, what has moved, a sheet to print.",
    ),
    "check": ("firstcrank.cli.board_check:check", "Check whether a board is fit to be trusted."),
    "alone": ("firstcrank.cli.board_alone:alone", "Let the board record and judge without a laptop."),
    "fetch": ("firstcrank.cli.board_fetch:fetch", "Fetch what the board recorded alone, and judge it."),
    "info": ("firstcrank.cli.board_list:info", "Show what a board says of itself."),
}


class LazyBoardGroup(click.Group):
    """Loads a board command when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the table's order."""
        return list(BOARD_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command itself."""
        if cmd_name not in BOARD_COMMANDS:
            return None
        module, _, attribute = BOARD_COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: Any) -> None:
        """Help from the table alone."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in BOARD_COMMANDS.items()])


@click.group(cls=LazyBoardGroup)
def board() -> None:
    """Find, check, install and calibrate the board."""
