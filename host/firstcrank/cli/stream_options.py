"""Options of the commands that show readings as they come."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

import click

P = ParamSpec("P")
R = TypeVar("R")
FILE = click.Path(dir_okay=False, path_type=Path)
_OPTIONS = (
    click.option("--port", help="Serial port, pyserial URL, or sim:NAME. Default: the only board plugged in."),
    click.option("--lead", "leads", multiple=True, metavar="ROLE=PIN", help="Leads of your board, if not the minimal build's."),
    click.option("--limits", "limits_file", type=FILE, help="Limits file (firstcrank limits write makes one)."),
    click.option("--system", type=click.Choice(["12", "24"]), help="System voltage, for the shipped limits."),
    click.option("--calibration", "calibration_file", type=FILE, help="Calibration file (TOML)."),
    click.option("--for", "seconds", type=click.FloatRange(1, 86_400), default=28_800.0, help="End after this many seconds."),
    click.option("--csv", type=FILE, help="Write a CSV file as well."),
    click.option("--plain", is_flag=True, help="Lines of text instead of a picture."),
)


def stream_options(command: Callable[P, R]) -> Callable[P, R]:
    """Adds them."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
