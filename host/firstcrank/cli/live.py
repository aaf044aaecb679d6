"""firstcrank live: large readings of every lead, lowest and highest so far, hold, a log as CSV."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import IO, Unpack

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import StreamOptions
from firstcrank.cli.stream_options import stream_options

CSV_EVERY_S = 0.1


@dataclass(frozen=True, slots=True)
class Extremes:
    """Of one lead, volts: now, lowest and highest so far."""

    now_v: float
    lowest_v: float
    highest_v: float


@click.command(cls=GroupedCommand)
@stream_options
def live(**options: Unpack[StreamOptions]) -> int:
    """Live values: what each lead reads now, its lowest and highest so far.

    Keys: h holds the picture, r resets lowest and highest, q ends. Exit code: 0, 2 wrong usage, 4 trouble.

    \b
    Examples:
      firstcrank live
      firstcrank live --csv values.csv --for 60
      firstcrank live --port sim:healthy --for 5
    """
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.stream_screen import StreamScreen, readings_of

    console = Screen()
    extremes: dict[str, Extremes] = {}
    held = False
    with contextlib.ExitStack() as stack:
        readings, _, simulated = stack.enter_context(readings_of(console, options))
        log = stack.enter_context(options["csv"].open("x", encoding="utf-8")) if options["csv"] is not None else None
        screen = stack.enter_context(StreamScreen(console, options["plain"], simulated))
        next_row_s = 0.0
        with contextlib.suppress(KeyboardInterrupt):
            for block in readings:
                at_s = float(block.end_s[-1])
                for role, volts in block.mean_v.items():
                    extremes[role] = _extended(extremes.get(role), float(volts.mean()), float(block.lowest_v[role].min()))
                if log is not None and at_s >= next_row_s:
                    next_row_s = at_s + CSV_EVERY_S
                    _row(log, at_s, extremes)
                letters = screen.typed().letters
                held ^= "h" in letters
                if "r" in letters:
                    extremes = {role: Extremes(e.now_v, e.now_v, e.now_v) for role, e in extremes.items()}
                if not held:
                    screen.update(_lines(extremes))
                if "q" in letters or at_s >= options["seconds"]:
                    break
    mark = "SIMULATED  " if simulated else ""
    for role, e in extremes.items():
        console.print(
            f"{mark}{role.replace('_', ' ')}: {e.now_v:.2f} V, lowest {e.lowest_v:.2f} V, highest {e.highest_v:.2f} V"
        )
    return 0


def _extended(before: Extremes | None, now_v: float, lowest_v: float) -> Extremes:
    if before is None:
        return Extremes(now_v, lowest_v, now_v)
    return Extremes(now_v, min(before.lowest_v, lowest_v), max(before.highest_v, now_v))


def _lines(extremes: dict[str, Extremes]) -> tuple[str, tuple[str, ...]]:
    lines = [f"{'lead':<16}{'now':>10}{'lowest':>10}{'highest':>10}"]
    lines += [
        f"{role.replace('_', ' '):<16}{e.now_v:>8.2f} V{e.lowest_v:>8.2f} V{e.highest_v:>8.2f} V"
        for role, e in extremes.items()
    ]
    first = extremes.get("key_switch")
    return f"{first.now_v:.1f}" if first else "", (*lines, "key feed above in large   [h] hold   [r] reset   [q] end")


def _row(log: IO[str], at_s: float, extremes: dict[str, Extremes]) -> None:
    if log.tell() == 0:
        log.write("time_s," + ",".join(f"{role}_v" for role in extremes) + "\n")
    log.write(f"{at_s:.3f}," + ",".join(f"{e.now_v:.3f}" for e in extremes.values()) + "\n")
