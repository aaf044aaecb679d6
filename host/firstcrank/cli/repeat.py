"""firstcrank repeat: the same job and leads again after a repair; before and after are compared by themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack, cast

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import RecordingOptions
from firstcrank.cli.record import recording_options, run_recording
from firstcrank.cli.say import say
from firstcrank.cli.store_option import opened
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.recording import Recording


@click.command(cls=GroupedCommand)
@click.argument("number")
@recording_options
def repeat(number: str, **options: Unpack[RecordingOptions]) -> int:
    """Record job NUMBER again after a repair, with the leads of its last start, and compare the two.

    Exit code: that of the new start, as `record` gives it.

    \b
    Examples:
      firstcrank repeat 1207
      firstcrank repeat 1207 --port sim:marigold_repaired --yes
    """
    start_id, before = _last_start(number, options["store"])
    from firstcrank.jobs.vehicle import STAYS

    stays = {name: getattr(before.context, name) for name in STAYS if options.get(name) is None}
    leads = options["leads"] or _leads(before)
    say(f"As start {start_id} of job {number}, with leads {', '.join(leads) or 'of the minimal build'}.")
    again = {**options, **stays, "leads": leads, "job": number, "compare_with": start_id}
    return run_recording(cast("RecordingOptions", again))


def _last_start(number: str, place: str | None) -> tuple[int, Recording]:
    """Id and recording of the job's last start. Raises UsageError where it has none."""
    from firstcrank.jobs.recordings import recording_of
    from firstcrank.jobs.records import job_detail
    from firstcrank.jobs.states import counts

    with opened(place) as store:
        starts = [s for s in job_detail(store, number).starts if counts(s["state"])]
        if not starts:
            raise UsageError(f"job {number} has no start to repeat: firstcrank record --job {number}")
        last = starts[-1]
        return int(last["id"]), recording_of(store, last)


def _leads(before: Recording) -> tuple[str, ...]:
    """Role and pin of each lead as recorded; empty where the recording does not say the pins."""
    channels = before.meta.get("channels") or ()
    pairs = [(c.get("role"), c.get("pin")) for c in channels if isinstance(c, dict)]
    return tuple(f"{role}={pin}" for role, pin in pairs) if pairs and all(r and p is not None for r, p in pairs) else ()
