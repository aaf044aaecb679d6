"""firstcrank jobs: the record on the command line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.printable import printable

if TYPE_CHECKING:
    from firstcrank.jobs.store import Store

STORE = click.option("--store", "place", envvar="FIRSTCRANK_STORE", help="Record store: a file, or a database URL.")
PATH = click.Path(path_type=Path)
FIELDS = ("vehicle", "vin", "odometer", "engine", "technician")


def _open(place: str | None) -> Store:
    from firstcrank.jobs.store import open_store

    return open_store(place)


@click.group()
def jobs() -> None:
    """Every start kept with its job, found again, handed over. Nothing is ever deleted."""


@jobs.command()
@click.argument("number")
@click.option("--vehicle", default="", help="What it is, in your words.")
@click.option("--vin", default="", help="Vehicle identification number.")
@click.option("--odometer", default="")
@click.option("--engine", default="")
@click.option("--technician", default="")
@STORE
def new(number: str, place: str | None, **fields: str) -> None:
    """Make a job."""
    from firstcrank.jobs.records import create_job
    from firstcrank.jobs.vin import vin_warnings

    with _open(place) as store:
        create_job(store, number, **fields)
    for line in vin_warnings(fields["vin"]):
        say(f"Note: {line}", err=True)
    say(f"Job {number} made. Record into it: firstcrank record --job {number}")


@jobs.command()
@click.argument("number")
@click.option("--vehicle")
@click.option("--vin")
@click.option("--odometer")
@click.option("--engine")
@click.option("--technician")
@STORE
def change(number: str, place: str | None, **fields: str | None) -> None:
    """Change what a job says."""
    from firstcrank.jobs.records import change_job
    from firstcrank.jobs.vin import vin_warnings

    with _open(place) as store:
        change_job(store, number, **fields)
    for line in vin_warnings(fields["vin"] or ""):
        say(f"Note: {line}", err=True)


@jobs.command("list")
@click.argument("text", nargs=-1)
@click.option("--all", "archived", is_flag=True, help="Archived jobs too.")
@click.option("--most", default=50, show_default=True)
@click.option("--verdict", type=click.Choice(["PASS", "FAIL", "NO VERDICT"], case_sensitive=False), help="With such a start.")
@STORE
def list_jobs(text: tuple[str, ...], archived: bool, most: int, verdict: str | None, place: str | None) -> None:
    """List jobs, the newest first; with TEXT, those that have it anywhere."""
    from rich.table import Table
    from rich.text import Text

    from firstcrank.cli.screen import Screen
    from firstcrank.jobs.records import list_jobs as lines_of
    from firstcrank.model.vocabulary import beside
    from firstcrank.units import local_time

    with _open(place) as store:
        lines = lines_of(store, " ".join(text), archived, most, (verdict or "").upper())
    if not lines:
        say("No job found." if text or verdict else "No jobs yet: firstcrank jobs new NUMBER")
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("job", "vehicle", "technician", "made", "starts", "last verdict"):
        table.add_column(heading, overflow="fold")
    for line in lines:
        job = line.job
        cells = (job["number"], job["vehicle"], job["technician"], local_time(job["created_utc"])[:10])
        table.add_row(
            *(Text(printable(str(c))) for c in cells),
            str(line.start_count),
            ("simulated: " if line.simulated else "") + beside(line.last_verdict, line.last_feed_verdict),
        )
    Screen().print(table)


jobs.add_command(list_jobs, "find")


@jobs.command()
@click.argument("number")
@STORE
def show(number: str, place: str | None) -> None:
    """Show everything of a job; says if a recording is missing or altered."""
    from firstcrank.jobs.records import job_file
    from firstcrank.model.vocabulary import beside
    from firstcrank.units import local_time

    with _open(place) as store:
        whole = job_file(store, number)
        states = {s["content_hash"]: store.contents.state(s["content_hash"]) for s in (*whole.starts, *whole.photos)}
    job = whole.job
    say(f"Job {job['number']}{'  (archived)' if job['archived'] else ''}")
    values: Mapping[str, object] = job
    for name in FIELDS:
        if values[name]:
            say(f"  {name:<12}{values[name]}")
    for start in whole.starts:
        state = states[start["content_hash"]]
        mark = "" if state == "whole" else f"   RECORDING {state.upper()}"
        mark = f"   SIMULATED{mark}" if start["synthetic"] else mark
        when = local_time(start["recorded_utc"] or start["filed_utc"])
        say(f"  start {start['id']}  {when}  {beside(start['verdict'], start['feed_verdict'])}  {start['reason']}{mark}")
    for m in whole.measurements:
        say(f"  measured  {local_time(m['taken_utc'])}  {m['what']}: {m['value']:g} {m['unit']}  {m['meter']}")
    for note in whole.notes:
        say(f"  note  {local_time(note['written_utc'])}  {note['who']}  {note['text']}")
    for photo in whole.photos:
        mark = "" if states[photo["content_hash"]] == "whole" else f"   PHOTO {states[photo['content_hash']].upper()}"
        say(f"  photo  {photo['name']}  {photo['caption']}{mark}")


@jobs.command()
@click.argument("number")
@click.argument("text")
@click.option("--who", default="", help="Who says so.")
@STORE
def note(number: str, text: str, who: str, place: str | None) -> None:
    """Add a note to a job."""
    from firstcrank.jobs.records import add_note

    with _open(place) as store:
        add_note(store, number, text, who)


@jobs.command()
@click.argument("number")
@click.argument("what")
@click.argument("value", type=float)
@click.argument("unit")
@click.option("--meter", default="", help="Meter used.")
@STORE
def measured(number: str, what: str, value: float, unit: str, meter: str, place: str | None) -> None:
    """Add a hand measurement: jobs measured 1207 "ground strap drop" 0.12 V."""
    from firstcrank.jobs.records import add_measurement

    with _open(place) as store:
        add_measurement(store, number, what, value, unit, meter)


@jobs.command()
@click.argument("number")
@click.argument("files", nargs=-1, required=True, type=PATH)
@click.option("--caption", default="", help="For photos.")
@STORE
def attach(number: str, files: tuple[Path, ...], caption: str, place: str | None) -> None:
    """Attach recordings (judged and filed) or photos to a job."""
    from firstcrank.errors import UsageError
    from firstcrank.jobs.filing import attach as attach_start
    from firstcrank.jobs.records import add_photo

    with _open(place) as store:
        for file in files:
            if file.suffix.lower() in (".png", ".jpg", ".jpeg", ".heic", ".webp"):
                try:
                    content = file.read_bytes()
                except OSError as error:
                    raise UsageError(f"{file}: {error.strerror}") from error
                add_photo(store, number, file.name, content, caption)
                say(f"{file.name} kept")
            else:
                say(f"{file.name} filed as start {attach_start(store, number, file)}")


@jobs.command()
@click.argument("start")
@click.argument("number")
@STORE
def move(start: str, number: str, place: str | None) -> None:
    """Move a START to the job NUMBER."""
    from firstcrank.jobs.records import move_start

    with _open(place) as store:
        move_start(store, start, number)


@jobs.command()
@click.argument("number")
@click.option("--back", is_flag=True, help="Take it out of the archive.")
@STORE
def archive(number: str, back: bool, place: str | None) -> None:
    """Put a job out of sight; it stays in the store."""
    from firstcrank.jobs.records import change_job

    with _open(place) as store:
        change_job(store, number, archived=not back)


@jobs.command()
@click.argument("file", type=PATH)
@STORE
def backup(file: Path, place: str | None) -> None:
    """Make one FILE of the whole store, and check it."""
    from rich.progress import Progress

    from firstcrank.jobs.backup import back_up

    with _open(place) as store, Progress(transient=True) as bar:
        task = bar.add_task("Backing up")
        kept, trouble = back_up(store, file, lambda n, total: bar.update(task, completed=n, total=total))
    for line in trouble:
        say(f"Not in the backup: {line}", err=True)
    say(f"{file}: {kept} recordings and photos, checked.")


@jobs.command()
@click.argument("file", type=PATH)
@click.option("--check", is_flag=True, help="Only check the backup.")
@STORE
def restore(file: Path, check: bool, place: str | None) -> None:
    """Fill an empty store from a backup FILE."""
    from firstcrank.jobs.backup import check_backup
    from firstcrank.jobs.backup import restore as fill

    if check:
        about = check_backup(file)
        say(f"{file} is whole: {about['rows']['jobs']} jobs, {about['rows']['starts']} starts, made {about['made_utc']}")
        return
    with _open(place) as store:
        about = fill(store, file)
        say(f"{about['rows']['jobs']} jobs and {about['rows']['starts']} starts restored into {store.name}")


@jobs.command("export")
@click.argument("folder", type=PATH)
@STORE
def export_all(folder: Path, place: str | None) -> None:
    """Write the whole store as a Parquet FOLDER."""
    from firstcrank.jobs.export import export_store

    with _open(place) as store:
        for line in export_store(store, folder):
            say(f"Left out: {line}", err=True)
    say(f"{folder}: for example in DuckDB: SELECT verdict, count(*) FROM '{folder}/starts.parquet' GROUP BY verdict")


@jobs.command()
@click.option("--png", type=PATH, help="Plots into this file.")
@click.option("--simulated", is_flag=True, help="Simulated starts too.")
@STORE
def trends(png: Path | None, simulated: bool, place: str | None) -> None:
    """Across all jobs: drift of calibration, spread of feed drop and crank speed, failures by cause."""
    from firstcrank.jobs.trends import trends as over_all
    from firstcrank.report.trend_plots import as_lines, trend_figure

    with _open(place) as store:
        found = over_all(store, simulated)
    for line in as_lines(found):
        say(line)
    if png is not None:
        from firstcrank.report.plots import as_png

        png.write_bytes(as_png(trend_figure(found)))
        say(f"Plots in {png}")
