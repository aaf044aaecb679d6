"""python -m firstcrank_sim.evaluate.monte_carlo: many simulated starts judged and held against their circuits.

Scenarios take turns, so each has the same number of starts; start number n has seed `first_seed + n // scenarios`. One start in
`frames_every` goes through the simulated board, the firmware's own fold and real frames; the others through the vectorised
twin, which a test proves equal.
"""

from __future__ import annotations

import json
import multiprocessing
import platform
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress

from firstcrank.parallel import each_done, processes
from firstcrank_sim.board.through_frames import through_frames
from firstcrank_sim.board.to_trace import BIN_S
from firstcrank_sim.evaluate import summary
from firstcrank_sim.evaluate.trial import Trial, run
from firstcrank_sim.scenarios.catalogue import SCENARIOS, simulate_many

CHUNK = 48
FRAMES_EVERY = 100


def starts(count: int, first_seed: int, names: Sequence[str]) -> list[tuple[str, int]]:
    """The first `count` (scenario, seed) pairs."""
    return [(names[n % len(names)], first_seed + n // len(names)) for n in range(count)]


def run_chunk(work: tuple[list[tuple[str, int]], int, int]) -> list[Trial]:
    """Simulates and judges some starts. `work`: starts, number of the first, every how many-th goes through frames."""
    chosen, number, frames_every = work
    trials = []
    for n, truth in enumerate(simulate_many(chosen)):
        framed = frames_every > 0 and (number + n) % frames_every == 0
        trials.append(run(truth, through_frames if framed else None))
    return trials


def run_many(count: int, first_seed: int, jobs: int, frames_every: int, names: Sequence[str]) -> Iterator[list[Trial]]:
    """Trials in chunks as they are done, in no order. `jobs` processes."""
    todo = starts(count, first_seed, names)
    work = [(todo[i : i + CHUNK], i, frames_every) for i in range(0, count, CHUNK)]
    if jobs == 1:
        yield from map(run_chunk, work)
        return
    with processes(jobs) as executor:
        yield from each_done(executor, run_chunk, work, jobs)


def report(trials: Sequence[Trial], took_s: float, jobs: int, first_seed: int) -> str:
    """All tables as Markdown."""
    framed = sum(t.framed for t in trials)
    head = [
        f"{len(trials)} starts of {len({t.name for t in trials})} scenarios, seeds from {first_seed}; {framed} of them through "
        f"the simulated board and real frames; simulated and judged in {took_s:.0f} s by {jobs} processes on "
        f"{platform.machine()} ({multiprocessing.cpu_count()} cores): {1000 * took_s / max(len(trials), 1):.0f} s a thousand.",
    ]
    parts = [
        head,
        summary.verdict_lines(trials),
        summary.cause_lines(trials),
        summary.confusion_lines(trials),
        summary.dropout_lines(trials, BIN_S),
        summary.voltage_lines(trials),
        summary.speed_lines(trials),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


@click.command()
@click.option("--starts", "count", default=1000, show_default=True, type=click.IntRange(1), help="How many starts.")
@click.option("--jobs", default=2, show_default=True, type=click.IntRange(1), help="How many processes.")
@click.option("--first-seed", default=100_000, show_default=True, type=click.IntRange(0), help="Seed of the first round.")
@click.option("--frames-every", default=FRAMES_EVERY, show_default=True, help="One start in so many goes through real frames.")
@click.option("--only", multiple=True, type=click.Choice(sorted(SCENARIOS)), help="This scenario alone; may be repeated.")
@click.option("--out", type=click.Path(path_type=Path), help="Write the tables to this file as well.")
@click.option("--trials", type=click.Path(path_type=Path), help="Write one JSON line a start to this file.")
def main(
    count: int, jobs: int, first_seed: int, frames_every: int, only: tuple[str, ...], out: Path | None, trials: Path | None
) -> None:
    """Simulate and judge many starts; print how often the judge was right."""
    console = Console(highlight=False)
    names = only or tuple(SCENARIOS)
    began_s = time.monotonic()
    done: list[Trial] = []
    with Progress(console=console, transient=True) as progress:
        task = progress.add_task("starts", total=count)
        for chunk in run_many(count, first_seed, jobs, frames_every, names):
            done += chunk
            progress.advance(task, len(chunk))
    text = report(done, time.monotonic() - began_s, jobs, first_seed)
    console.print(text, markup=False, soft_wrap=True)
    wrong = summary.wrong_lines(done)
    console.print("\n".join(["Wrong verdicts:", *wrong]) if wrong else "No wrong verdict.", markup=False, soft_wrap=True)
    if out is not None:
        out.write_text(text, "utf-8")
    if trials is not None:
        trials.write_text("".join(json.dumps(asdict(t)) + "\n" for t in done), "utf-8")


if __name__ == "__main__":
    main()
