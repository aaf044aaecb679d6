"""firstcrank watch: the key ON for hours while somebody moves the harness; a beep at once for every loss of the feed."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import StreamOptions
from firstcrank.cli.stream_options import stream_options

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.visit.harness_watch import HarnessWatch

EXIT_LOST, EXIT_BATTERY = 1, 3
ENGINE_OFF = (
    "Engine off. An electric fan may start: hands clear. Plugs are not pulled with the key on; move the harness by its cable."
)


@click.command(cls=GroupedCommand)
@stream_options
@click.option("--place", default="", help="Where it is moved first; n and a name at the keyboard change it.")
@click.option("--supported", is_flag=True, help="A supply of at most 14.4 V holds the battery up.")
@click.option("--job", help="Keep with this job number what the watch showed (check 30).")
@click.option("--store", envvar="FIRSTCRANK_STORE", help="Record store, with --job.")
def watch(place: str, supported: bool, job: str | None, store: str | None, **options: Unpack[StreamOptions]) -> int:
    """Key ON, engine off: every dropout beeps at once, is counted, timed and kept with the place that was moved.

    Exit code: 0 none seen, 1 dropouts seen, 3 ended by a low battery or before the key was ON, 2 wrong usage, 4 trouble.

    \b
    Examples:
      firstcrank watch --place "fuse holder" --csv losses.csv
      firstcrank watch --supported --for 3600 --job 1207
      firstcrank watch --port sim:moved_harness --for 28
    """
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.stream_screen import StreamScreen, readings_of
    from firstcrank.visit.harness_watch import HarnessWatch, finish, name_place, watch_step

    if job is not None:
        from firstcrank.cli.file_start import job_is_there

        job_is_there(job, store)
    console = Screen()
    from firstcrank.analysis.causes.cautions import STANDING

    for line in (ENGINE_OFF, STANDING["K5"]):
        console.print(line)
    with readings_of(console, options) as (readings, limits, simulated):
        seen = HarnessWatch(limits["module_minimum_v"], limits["feed_live_v"], limits.system_v / 12.0, supported)
        seen = name_place(seen, place)
        with StreamScreen(console, options["plain"], simulated) as screen, contextlib.suppress(KeyboardInterrupt):
            for block in readings:
                feed_v, lowest_v = block.mean_v["key_switch"], block.lowest_v["key_switch"]
                seen = watch_step(seen, block.start_s, block.end_s, block.mean_v["battery"], feed_v, lowest_v)
                if seen.new:
                    screen.beep(f"{seen.now_s:.2f} s  dropout {seen.count}  {seen.place}")
                typed = screen.typed()
                seen = name_place(seen, typed.place)
                screen.update(_lines(seen, screen.naming))
                if seen.stopped or typed.done or seen.now_s >= options["seconds"]:
                    break
    seen = finish(seen)
    if options["csv"] is not None:
        _write_csv(options["csv"], seen)
    code = _summary(console, seen, simulated)
    if job is not None and not simulated:
        from firstcrank.cli.checklist import keep_by_board
        from firstcrank.visit.checklist import from_watch
        from firstcrank.visit.harness_watch import ranked

        worst = ranked(seen)[0][0] if seen.count else ""
        keep_by_board(job, store, "watch", from_watch(seen.count, seen.watched_s, worst, seen.stopped))
    return code


def _lines(seen: HarnessWatch, naming: str | None) -> tuple[str, tuple[str, ...]]:
    """The large line and those under it."""
    from firstcrank.visit.harness_watch import ranked

    large = f"{seen.count}" if seen.on else "KEY ON"
    lines = [
        f"dropouts   place: {seen.place}   {seen.watched_s:.0f} s",
        f"battery {seen.battery_v:5.2f} V   key feed {seen.feed_v:5.2f} V",
    ]
    if seen.warned:
        lines.append("BATTERY LOW: support it or key off; it ends at 12.0 V")
    lines += [f"{place.count:5d}  {name}, longest {place.longest_s * 1000:.0f} ms" for name, place in ranked(seen)[:5]]
    lines.append(f"place: {naming}_" if naming is not None else "[n] name the place   [q] end")
    return large, tuple(lines)


def _write_csv(path: Path, seen: HarnessWatch) -> None:
    from firstcrank.visit.harness_watch import ranked

    losses = sorted((loss for _, place in ranked(seen) for loss in place.losses), key=lambda loss: loss.at_s)
    rows = [
        "time_s,lasted_s,lowest_v,place",
        *(f'{x.at_s:.4f},{x.lasted_s:.4f},{x.lowest_v:.2f},"{_quoted(x.place)}"' for x in losses),
    ]
    path.write_text("\n".join(rows) + "\n", "utf-8")


def _quoted(text: str) -> str:
    return text.replace('"', '""')


def _summary(console: Console, seen: HarnessWatch, simulated: bool) -> int:
    from firstcrank.visit.harness_watch import ranked

    mark = "SIMULATED  " if simulated else ""
    console.print(f"{mark}{seen.count} dropouts in {seen.watched_s:.0f} s with the key ON")
    for name, place in ranked(seen):
        console.print(f"{place.count:5d}  {name}: longest {place.longest_s * 1000:.1f} ms")
    if seen.stopped:
        console.print(f"Ended: {seen.stopped}.")
    if not seen.on:
        console.print("The key was never seen ON: nothing was watched.")
    if seen.count:
        console.print("Check next: key off, pull-test each joint of the place at the top; then watch again.")
        return EXIT_LOST
    return EXIT_BATTERY if seen.stopped or not seen.on else 0
