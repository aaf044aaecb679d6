"""firstcrank jobs new, note, measured: a job and what is written down with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

P = ParamSpec("P")
R = TypeVar("R")
# name of the field -> help; the options of `new` and `change`, in the order that `show` prints them.
FIELDS = {
    "customer": "Who brought it.",
    "phone": "The customer's telephone.",
    "vehicle": "What it is, in your words.",
    "plate": "Licence plate.",
    "vin": "Vehicle identification number.",
    "odometer": "",
    "engine": "",
    "technician": "",
    "order_number": "Order or invoice of your other papers.",
}


def field_options(default: str | None) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Adds an option for each field of a job."""

    def add(command: Callable[P, R]) -> Callable[P, R]:
        for name, text in reversed(FIELDS.items()):
            flag = "--order" if name == "order_number" else f"--{name}"
            command = click.option(flag, name, default=default, help=text or None)(command)
        return command

    return add


@click.command()
@click.argument("number")
@field_options("")
@STORE
def new(number: str, place: str | None, **fields: str) -> None:
    """Make a job.

    \b
    Examples:
      firstcrank jobs new 1207 --vehicle "blue pickup" --engine "4-cylinder diesel"
    """
    from firstcrank.jobs.records import create_job
    from firstcrank.jobs.vin import vin_warnings

    with opened(place, create=True) as store:
        create_job(store, number, **fields)
    for line in vin_warnings(fields["vin"]):
        say(f"Note: {line}", err=True)
    say(f"Job {number} made. Record into it: firstcrank record --job {number}")


@click.command()
@click.argument("number")
@click.argument("text")
@click.option("--who", default="", help="Who says so.")
@STORE
def note(number: str, text: str, who: str, place: str | None) -> None:
    """Add a note to a job.

    \b
    Examples:
      firstcrank jobs note 1207 "feed moved to the fuse block"
    """
    from firstcrank.jobs.records import add_note

    with opened(place) as store:
        add_note(store, number, text, who)


@click.command()
@click.argument("number")
@click.argument("what")
@click.argument("value", type=float)
@click.argument("unit")
@click.option("--meter", default="", help="Meter used.")
@STORE
def measured(number: str, what: str, value: float, unit: str, meter: str, place: str | None) -> None:
    """Add a hand measurement: jobs measured 1207 "ground strap drop" 0.12 V.

    \b
    Examples:
      firstcrank jobs measured 1207 "battery at rest" 12.6 V
    """
    from firstcrank.jobs.records import add_measurement

    with opened(place) as store:
        add_measurement(store, number, what, value, unit, meter)
