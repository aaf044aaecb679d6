"""firstcrank jobs rejudge: filed starts judged again, all or those of a search."""

from __future__ import annotations

import os
from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

MOST_SHOWN = 50


@click.command()
@click.argument("text", nargs=-1)
@click.option(
    "--limits", "limits_file", type=click.Path(dir_okay=False, path_type=Path), help="Other limits. Default: as filed."
)
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("rejudged.parquet"), show_default=True, help="Result, a row a start."
)
@click.option("--processes", "count", type=click.IntRange(1, 256), help="Default: one for each core.")
@click.option("--simulated", is_flag=True, help="Simulated starts too.")
@STORE
def rejudge(
    text: tuple[str, ...], limits_file: Path | None, out: Path, count: int | None, simulated: bool, place: str | None
) -> int:
    """Judge filed starts again, all or those of jobs that have TEXT; says which verdicts would change and why.

    What was filed stays as it is. A run that was stopped goes on where it was, when it is started again. Exit code: 0, or 4 where
    a recording could not be judged.

    \b
    Examples:
      firstcrank jobs rejudge --limits stricter.toml
      firstcrank jobs rejudge pickup --out pickups.parquet
    """
    from rich.progress import Progress

    from firstcrank.jobs.rejudge import Journal, chosen_starts, write_result
    from firstcrank.jobs.rejudge import rejudge as judged_again
    from firstcrank.limits import read_limits
    from firstcrank.parallel import processes

    limits = read_limits(limits_file) if limits_file is not None else None
    workers = count or os.cpu_count() or 1
    with opened(place) as store, Progress(transient=True) as bar:
        starts = chosen_starts(store, " ".join(text), simulated)
        journal = Journal(out, limits)
        left = journal.left(starts)
        task = bar.add_task("Judging", total=len(starts), completed=len(starts) - len(left))
        with processes(workers) as executor:
            for again in judged_again(store, left, executor, workers, limits):
                journal.add(again)
                bar.advance(task)
    found = [journal.done[start] for start in starts if start in journal.done]
    write_result(out, journal, starts)
    journal.path.unlink()
    flips, trouble = [a for a in found if a.flips], [a for a in found if a.trouble]
    for again in flips[:MOST_SHOWN]:
        say(f"start {again.start}, job {again.job}: {again.filed_verdict} -> {again.verdict}: {again.reason}")
        if again.filed_reason != again.reason:
            say(f"    filed with: {again.filed_reason}")
    if len(flips) > MOST_SHOWN:
        say(f"and {len(flips) - MOST_SHOWN} more, in {out}")
    for again in trouble[:MOST_SHOWN]:
        say(f"start {again.start}, job {again.job} not judged: {again.trouble}", err=True)
    say(f"{len(found)} starts judged again, {len(flips)} verdicts change, {len(trouble)} could not be judged: {out}")
    return 4 if trouble else 0
