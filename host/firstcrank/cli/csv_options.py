"""Options of files from other loggers, shared by judge and jobs attach: which column is which lead, how accurate the logger is."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

import click

from firstcrank.cli.say import say

P = ParamSpec("P")
R = TypeVar("R")
_OPTIONS = (
    click.option("--map", "columns", multiple=True, metavar="ROLE=COLUMN", help="CSV column of a lead; may be repeated."),
    click.option("--uncertainty", metavar="0.5%+20mV", help="Accuracy of the CSV's logger."),
    click.option("--save-map", "save_as", metavar="NAME", help="Keep the --map options (and --uncertainty) under a name."),
    click.option("--map-name", "saved_name", metavar="NAME", help="Use the map kept under this name."),
)


def csv_options(command: Callable[P, R]) -> Callable[P, R]:
    """Adds the options."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def columns_of(
    columns: tuple[str, ...], uncertainty: str | None, save_as: str | None, saved_name: str | None
) -> tuple[dict[str, str], str | None]:
    """The map of columns and the uncertainty: the options, over what was saved under a name. Raises UsageError."""
    from firstcrank.tracefiles.csv import parse_map, parse_uncertainty

    mapped = parse_map(columns)
    if uncertainty:
        parse_uncertainty(uncertainty)  # told before a file is read
    if save_as is None and saved_name is None:
        return mapped, uncertainty
    from firstcrank.tracefiles.saved_maps import SavedMap, save_map, saved_map

    if saved_name is not None:
        saved = saved_map(saved_name)
        mapped, uncertainty = {**saved.columns, **mapped}, uncertainty or saved.uncertainty or None
    if save_as is not None:
        path = save_map(save_as, SavedMap(mapped, uncertainty or ""))
        say(f"map {save_as} kept in {path}", err=True)
    return mapped, uncertainty
