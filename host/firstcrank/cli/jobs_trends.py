"""firstcrank jobs trends: across all jobs."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.whole_file import whole_file


@click.command()
@click.option("--png", type=click.Path(path_type=Path), help="Plots into this file.")
@click.option("--simulated", is_flag=True, help="Simulated starts too.")
@STORE
def trends(png: Path | None, simulated: bool, place: str | None) -> None:
    """Across all jobs: drift of calibration, spread of feed drop and crank speed, failures by cause.

    \b
    Examples:
      firstcrank jobs trends --png trends.png
    """
    from firstcrank.jobs.trends import trends as over_all
    from firstcrank.report.trend_plots import as_lines, trend_figure

    with opened(place) as store:
        found = over_all(store, simulated)
    for line in as_lines(found):
        say(line)
    if png is not None:
        from firstcrank.report.plots import as_png

        content = as_png(trend_figure(found))
        with whole_file(png, replace=True) as file:
            file.write(content)
        say(f"Plots in {png}")
