"""Options shared by record and judge: limits, calibration, system, and what the recording cannot show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar, cast

import click

if TYPE_CHECKING:
    from firstcrank.cli.options import JudgingOptions
    from firstcrank.limits import Limits
    from firstcrank.model.context import Answers, Context

EXIT = {"PASS": 0, "FAIL": 1, "NO VERDICT": 3}
FILE = click.Path(dir_okay=False, path_type=Path)
P = ParamSpec("P")
R = TypeVar("R")


_OPTIONS = (
    click.option("--limits", "limits_file", type=FILE, help="Limits file (firstcrank limits write makes one)."),
    click.option("--system", type=click.Choice(["12", "24"]), help="System voltage, for the shipped limits."),
    click.option("--calibration", "calibration_file", type=FILE, help="Calibration file (TOML)."),
    click.option(
        "--key-start/--remote-start",
        "cranked_with_key",
        default=None,
        help="Cranked with the vehicle's own key, or a remote switch.",
    ),
    click.option(
        "--module-plugged/--module-unplugged", "module_plugged_in", default=None, help="Engine module plugged in, or not."
    ),
    click.option("--feed", "feed_kind", type=click.Choice(["signal", "loaded"]), help="What the key feed carries."),
    click.option("--cylinders", type=click.IntRange(1, 16), help="Cylinders, for the crank speed."),
    click.option("--temperature", "temperature_c", type=click.FloatRange(-60, 60), help="Air temperature, °C."),
    click.option("--charger/--no-charger", "charger_connected", default=None, help="A charger or jump pack is connected."),
    click.option("--running/--not-running", "engine_running", default=None, help="The engine runs by itself at the end."),
    click.option("--known-load", "known_load_ohm", type=click.FloatRange(0.5, 100), help="Load at the module's plug, ohm."),
    click.option("--hold-on", "hold_on_s", type=click.FloatRange(0, 3600), help="Seconds the module holds itself on."),
)


def judging_options(command: Callable[P, R]) -> Callable[P, R]:
    """Adds the options."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def answers_given(options: JudgingOptions) -> Answers:
    """Every answer that was given on the command line."""
    from firstcrank.model.context import ANSWERS

    return cast("Answers", {name: options.get(name) for name in ANSWERS if options.get(name) is not None})


def context_with(base: Context, answers: Answers) -> Context:
    """`base` with these answers over its own."""
    return replace(base, **answers)


def chosen_limits(limits_file: Path | None, system: str | None, embedded: Limits | None = None) -> Limits:
    """The limits file, else the shipped set of the system named, else the one embedded, else 12 V. Raises LimitsError."""
    from firstcrank.errors import LimitsError
    from firstcrank.limits import read_limits, shipped

    if limits_file is not None:
        limits = read_limits(limits_file)
        if system is not None and int(system) != limits.system_v:
            raise LimitsError(f"{limits_file} is for {limits.system_v} V and --system says {system}")
        return limits
    if system is not None:
        return shipped(int(system))
    return embedded or shipped(12)
