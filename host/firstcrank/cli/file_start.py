"""A start filed with its job, from the look-up before anyone touches a key to what is told after the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import click
from click.core import ParameterSource

from firstcrank.cli.say import say
from firstcrank.cli.store_option import opened, tell_sent
from firstcrank.errors import FirstcrankError, StoreAwayError

if TYPE_CHECKING:
    from pathlib import Path

    from firstcrank.cli.options import RecordingOptions
    from firstcrank.jobs.vehicle import Known
    from firstcrank.model.judgement import Judgement

TYPED = (ParameterSource.COMMANDLINE, ParameterSource.ENVIRONMENT)


def job_is_there(job: str, place: str | None) -> None:
    """Raises UsageError where the record has no such job, StoreError where it is away: for what is kept in notes alone."""
    from firstcrank.jobs.records import find_job

    with opened(place) as store:
        find_job(store, job)


def known_of(job: str, place: str | None) -> Known | None:
    """What the record knows of the job's vehicle; None where the store is away, which is told.

    Raises UsageError where there is no such job, StoreError where the store was named wrongly or is newer than this program.
    """
    from firstcrank.jobs.vehicle import known_of_vehicle

    try:
        with opened(place) as store:
            known = known_of_vehicle(store, job)
            if not store.read_only:
                return known
            why = "it can only be read"
    except StoreAwayError as error:
        known, why = None, str(error)
    say(f"Note: {why}. What is recorded now is kept on this computer and goes to job {job} by itself later.", err=True)
    return known


def with_known(options: RecordingOptions, known: Known | None) -> RecordingOptions:
    """The options with what the record knows of the vehicle, where it was not typed; what was taken is told."""
    if known is None or known.start is None:
        return options
    context = click.get_current_context(silent=True)

    def typed(name: str) -> bool:
        return options.get(name) is not None and (context is None or context.get_parameter_source(name) in TYPED)

    answers = {name: value for name, value in known.answers.items() if not typed(name)}
    taken = [f"{name.replace('_', ' ')} {value}" for name, value in answers.items()]
    system = {}
    if known.system_v and known.system_v != 12 and not (typed("system") or typed("limits_file")):
        system = {"system": str(known.system_v), "limits_file": None}
        taken.append(f"{known.system_v} V")
    if taken:
        say(f"As for start {known.start} of this vehicle: {', '.join(taken)}. An option says otherwise.")
    if known.own_limits and not typed("limits_file"):
        say(f"Start {known.start} of this vehicle was judged by {known.own_limits}: name it with --limits to use it again.")
    return cast("RecordingOptions", {**options, **answers, **system})


def file_start(path: Path, judgement: Judgement, job: str, place: str | None, simulated: bool = False) -> int | None:
    """Files a recorded start and tells so; None where it waits on this computer, or could not be kept beside its recording.

    Raises nothing of the store: the exit code stays the verdict's.
    """
    from firstcrank.jobs.keeping import file_or_keep

    try:
        kept = file_or_keep(path, judgement, job, place)
    except FirstcrankError as error:
        say(f"NOT FILED: {error}", err=True)
        say(f"The recording is kept as {path}. Later: firstcrank jobs attach {job} {path}", err=True)
        return None
    tell_sent(kept.sent)
    if kept.start is None:
        say(
            f"Kept on this computer{_mark(simulated)}: it goes to job {job} by itself when its store is back (firstcrank jobs outbox)."
        )
        say(f"Why: {kept.why}", err=True)
    else:
        say(filed_line(job, simulated, kept.start))
    return kept.start


def filed_line(job: str, simulated: bool, number: int = 9999) -> str:
    """What stands under the result of a start that was filed; as long as most become where its number is not known yet."""
    return f"Filed with job {job} as start {number}{_mark(simulated)}"


def _mark(simulated: bool) -> str:
    return " (SIMULATED, no vehicle's)" if simulated else ""
