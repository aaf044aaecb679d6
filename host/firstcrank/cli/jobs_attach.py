"""firstcrank jobs attach: recordings and photos that were made elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import click

from firstcrank.cli.answers import answers_given, chosen_limits, judging_options
from firstcrank.cli.csv_options import columns_of, csv_options
from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import JudgingOptions
from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

if TYPE_CHECKING:
    from firstcrank.calibration import Calibration
    from firstcrank.jobs.reading import Reading
    from firstcrank.jobs.store import Store
    from firstcrank.limits import Limits

PHOTOS = (".png", ".jpg", ".jpeg", ".heic", ".webp")


@click.command(cls=GroupedCommand)
@click.argument("number")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--caption", default="", help="For photos.")
@click.option("--again", is_flag=True, help="File a recording that this job has already once more.")
@click.option("--recorded", metavar="TIME", help="When it was recorded, local: 2026-05-31T14:30. For files that do not say.")
@judging_options
@csv_options
@STORE
def attach(
    number: str,
    files: tuple[Path, ...],
    caption: str,
    again: bool,
    recorded: str | None,
    columns: tuple[str, ...],
    uncertainty: str | None,
    save_as: str | None,
    saved_name: str | None,
    place: str | None,
    **options: Unpack[JudgingOptions],
) -> None:
    """Attach recordings (judged and filed) or photos to a job. Takes all that `judge` takes, and keeps it with the start.

    What the record knows of the vehicle (system voltage, cylinders, what the feed carries) is used for files that do not say it.

    \b
    Examples:
      firstcrank jobs attach 1207 start.fcr plug.jpg --caption "module plug, pin 4"
      firstcrank jobs attach 1207 logger.csv --map battery=U1 --map key_switch=U2 --system 24 --recorded 2026-05-31T14:30
    """
    from firstcrank.calibration import read_calibration
    from firstcrank.jobs.reading import Reading
    from firstcrank.jobs.times import typed_time

    mapped, accuracy = columns_of(columns, uncertainty, save_as, saved_name)
    reading = Reading(mapped, accuracy or "", typed_time(recorded) if recorded else "", answers_given(options))
    named = options["limits_file"] is not None or options["system"] is not None
    limits = chosen_limits(options["limits_file"], options["system"]) if named else None
    calibration = read_calibration(options["calibration_file"]) if options["calibration_file"] else None
    with opened(place) as store:
        for file in files:
            if file.suffix.lower() in PHOTOS:
                _photo(store, number, file, caption)
            else:
                _recording(store, number, file, limits, reading, calibration, again)


def _photo(store: Store, number: str, file: Path, caption: str) -> None:
    from firstcrank.errors import UsageError
    from firstcrank.jobs.records import add_photo

    try:
        content = file.read_bytes()
    except OSError as error:
        raise UsageError(f"{file}: {error.strerror}") from error
    add_photo(store, number, file.name, content, caption)
    say(f"{file.name} kept")


def _recording(
    store: Store,
    number: str,
    file: Path,
    limits: Limits | None,
    reading: Reading,
    calibration: Calibration | None,
    again: bool,
) -> None:
    from firstcrank.jobs.filing import attach as attach_start
    from firstcrank.jobs.filing import same_content
    from firstcrank.jobs.records import find_start
    from firstcrank.jobs.vehicle import known_of_vehicle

    known = known_of_vehicle(store, number)
    there = same_content(store, file)
    here = [start for start, job in there if job == number]
    if here and not again:
        say(f"{file.name} is start {here[0]} of this job already: not filed again (--again files it once more)")
        return
    for start, job in there:
        say(f"Note: {file.name} is start {start} of job {job} as well", err=True)
    made = attach_start(store, number, file, limits, reading, calibration, known)
    row, _ = find_start(store, str(made))
    say(f"{file.name} filed as start {made}: {row['verdict']}")
    if not row["recorded_utc"]:
        say("Note: it does not say when it was recorded: --recorded TIME says it", err=True)
