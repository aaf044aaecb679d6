"""firstcrank jobs trends: across all jobs."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.whole_file import whole_file


@click.command()
@click.argument("text", nargs=-1)
@click.option("--png", type=click.Path(path_type=Path), help="Plots into this file.")
@click.option("--board", default="", help="Starts of this board, or a part of its id.")
@click.option("--technician", default="", help="Starts of this technician's jobs.")
@click.option("--from", "first_day", default="", metavar="DAY", help="From this day: 2026-05-31, 2026-05, 2026.")
@click.option("--to", "last_day", default="", metavar="DAY", help="Until this day, it included.")
@click.option("--simulated", is_flag=True, help="Simulated starts too.")
@STORE
def trends(
    text: tuple[str, ...],
    png: Path | None,
    board: str,
    technician: str,
    first_day: str,
    last_day: str,
    simulated: bool,
    place: str | None,
) -> None:
    """Across all jobs, or those that have TEXT (a vehicle, a customer): by month or year, causes, feed drop, crank speed, calibration.

    \b
    Examples:
      firstcrank jobs trends --png trends.png
      firstcrank jobs trends pickup --technician Hale --from 2025
    """
    from firstcrank.jobs.trends import Choice
    from firstcrank.jobs.trends import trends as over_all
    from firstcrank.report.trend_plots import as_lines, trend_figure

    with opened(place) as store:
        found = over_all(store, simulated, Choice(" ".join(text), board, technician, first_day, last_day))
    for line in as_lines(found):
        say(line)
    if not found.verdicts and not simulated:
        say("Simulated starts are left out: --simulated counts them.")
    if png is not None:
        from firstcrank.report.plots import as_png

        content = as_png(trend_figure(found))
        with whole_file(png, replace=True) as file:
            file.write(content)
        say(f"Plots in {png}")
