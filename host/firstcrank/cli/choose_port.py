"""Which port: the one named, the only board, or the one the user picks of several."""

from __future__ import annotations

import sys

import click

from firstcrank.cli.say import say
from firstcrank.link.base import Link


def chosen_link(port: str | None) -> Link:
    """A link to the board. With several boards a person at a terminal is asked; a program gets NoBoardError."""
    from firstcrank.link.open import open_link

    return open_link(port if port is not None else _picked())


def check_scheme(port: str | None) -> None:
    """Raises UsageError for a misspelt `sim:NAME` before anybody answers questions; a serial port may still be plugged in meanwhile."""
    from firstcrank.link.schemes import open_by_scheme

    link = open_by_scheme(port) if port is not None and ":" in port else None
    if link is not None:
        link.close()


def _picked() -> str | None:
    from firstcrank.link.ports import board_ports

    ports = board_ports()
    if len(ports) < 2 or not sys.stdin.isatty():
        return None
    for number, found in enumerate(ports, start=1):
        say(f"  {number}  {found.device}  serial {found.serial_number or 'unknown'}", err=True)
    number = click.prompt("Which board", type=click.IntRange(1, len(ports)), err=True)
    return ports[number - 1].device
