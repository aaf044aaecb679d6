"""firstcrank board: everything about the board itself. Each command is loaded when it is used."""

from __future__ import annotations

import click

from firstcrank.cli.lazy_group import LazyGroup

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


@click.group(cls=LazyGroup, table=BOARD_COMMANDS)
def board() -> None:
    """Find, check, install and calibrate the board."""
