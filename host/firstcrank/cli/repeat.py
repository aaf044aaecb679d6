"""firstcrank repeat: the same job and leads again after a repair; before and after are compared by themselves."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.record import recording_options, run_recording
from firstcrank.cli.say import say
from firstcrank.cli.store_option import opened
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.recording import Recording


@click.command(cls=GroupedCommand)
@click.argument("number")
@recording_options
def repeat(number: str, **options: Any) -> int:
    """Record job NUMBER again after a repair, with the leads of its last start, and compare the two.

    Exit code: that of the new start, as `record` gives it.

    \b
    Examples:
      firstcrank repeat 1207
      firstcrank repeat 1207 --port sim:marigold_repaired --yes
    """
    start_id, before = _last_start(number, options["store"])
    options["leads"] = options["leads"] or _leads(before)
    from firstcrank.jobs.vehicle import STAYS

    for name in STAYS:
        if options.get(name) is None:
            options[name] = getattr(before.context, name)
    say(f"As start {start_id} of job {number}, with leads {', '.join(options['leads']) or 'of the minimal build'}.")
    return run_recording({**options, "job": number, "compare_with": start_id})


def _last_start(number: str, place: str | None) -> tuple[int, Recording]:
    """Id and recording of the job's last start. Raises UsageError where it has none."""
    records: Any = importlib.import_module("firstcrank.jobs.records")
    recordings: Any = importlib.import_module("firstcrank.jobs.recordings")
    counts: Any = importlib.import_module("firstcrank.jobs.states").counts
    with opened(place) as store:
        starts = [s for s in records.job_detail(store, number).starts if counts(s["state"])]
        if not starts:
            raise UsageError(f"job {number} has no start to repeat: firstcrank record --job {number}")
        last = starts[-1]
        found: Recording = recordings.recording_of(store, last)
        return int(last["id"]), found


def _leads(before: Recording) -> tuple[str, ...]:
    """Role and pin of each lead as recorded; empty where the recording does not say the pins."""
    channels = before.meta.get("channels") or ()
    pairs = [(c.get("role"), c.get("pin")) for c in channels if isinstance(c, dict)]
    return tuple(f"{role}={pin}" for role, pin in pairs) if pairs and all(r and p is not None for r, p in pairs) else ()
