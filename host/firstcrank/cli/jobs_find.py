"""firstcrank jobs list, find, show, history: what is in the record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import click

from firstcrank.cli.jobs_add import FIELDS
from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.printable import printable

if TYPE_CHECKING:
    from firstcrank.jobs.list_query import JobSummary, Wanted

UNBROKEN = ("made", "starts", "last verdict")  # columns that a narrow screen takes no room from
NARROW = 80  # columns of the screen: with fewer the texts of a job stand under each other


@click.command("list")
@click.argument("text", nargs=-1)
@click.option("--all", "archived", is_flag=True, help="Archived jobs too.")
@click.option("--most", default=50, show_default=True)
@click.option("--verdict", type=click.Choice(["PASS", "FAIL", "NO VERDICT"], case_sensitive=False), help="With such a start.")
@click.option(
    "--from", "first_day", default="", metavar="DAY", help="Made or recorded from this day: 2026-05-31, 2026-05, 2026."
)
@click.option("--to", "last_day", default="", metavar="DAY", help="Until this day, it included.")
@STORE
def list_jobs(
    text: tuple[str, ...],
    archived: bool,
    most: int,
    verdict: str | None,
    first_day: str,
    last_day: str,
    place: str | None,
) -> None:
    """List jobs, the newest first; with TEXT, those that have it anywhere.

    Every word counts, also a part of one: customer, phone, plate, VIN, order, vehicle, notes, reasons, causes, file names, captions.

    \b
    Examples:
      firstcrank jobs find 7042
      firstcrank jobs find haecksler --from 2026-03 --verdict FAIL
    """
    from rich.table import Table
    from rich.text import Text

    from firstcrank.cli.screen import Screen
    from firstcrank.jobs.list_query import Wanted
    from firstcrank.model.vocabulary import beside
    from firstcrank.units import local_time

    lines = _listed(place, Wanted(" ".join(text), archived, most, (verdict or "").upper(), first_day, last_day))
    if not lines:
        wanted = text or verdict or first_day or last_day
        say("No job found." if wanted else "No jobs yet: firstcrank jobs new NUMBER")
        return
    screen = Screen()
    table = Table(box=None, pad_edge=False)
    customers = any(line.job["customer"] for line in lines)
    headings = (*(("customer",) if customers else ()), "vehicle", "technician")
    narrow = screen.width < NARROW
    for heading in ("job", *((", ".join(headings),) if narrow else headings), *UNBROKEN):
        table.add_column(heading, overflow="fold", no_wrap=heading in UNBROKEN)
    for line in lines:
        job = line.job
        who = [printable(str(job[name])) for name in headings]  # type: ignore[literal-required]
        table.add_row(
            Text(printable(job["number"])),
            *(Text(cell) for cell in (["\n".join(filter(None, who))] if narrow else who)),
            local_time(job["created_utc"])[:10],
            str(line.start_count),
            ("simulated: " if line.simulated else "") + beside(line.last_verdict, line.last_feed_verdict),
        )
    screen.print(table)


def _listed(place: str | None, wanted: Wanted) -> list[JobSummary]:
    """The quick way where nothing waits in the outbox and the file is as it should be, else as any other command."""
    from firstcrank.jobs.outbox import anything_waits
    from firstcrank.jobs.quick_list import quick_list

    quick = None if anything_waits() else quick_list(place, wanted)
    if quick is not None:
        return quick
    from firstcrank.jobs.listing import list_jobs as lines_of

    with opened(place) as store:
        return lines_of(store, wanted)


@click.command()
@click.argument("number")
@STORE
def show(number: str, place: str | None) -> None:
    """Show everything of a job; says if a recording is missing or altered.

    \b
    Examples:
      firstcrank jobs show 1207
    """
    from firstcrank.jobs.records import job_detail
    from firstcrank.model.vocabulary import beside
    from firstcrank.units import local_time

    with opened(place) as store:
        whole = job_detail(store, number)
        states = {s["content_hash"]: store.contents.state(s["content_hash"]) for s in (*whole.starts, *whole.photos)}
    job = whole.job
    say(f"Job {job['number']}{'  (archived)' if job['archived'] else ''}")
    values: Mapping[str, object] = job
    for name in FIELDS:
        if values[name]:
            say(f"  {name.removesuffix('_number'):<12}{values[name]}")
    for start in whole.starts:
        state = states[start["content_hash"]]
        mark = "" if state == "whole" else f"   RECORDING {state.upper()}"
        mark = f"   SIMULATED{mark}" if start["synthetic"] else mark
        state_note = f"   ({start['state']})" if start["state"] else ""
        result = beside(start["verdict"], start["feed_verdict"])
        say(f"  start {start['id']}  {local_time(start['when_utc'])}  {result}  {start['reason']}{state_note}{mark}")
    for m in whole.measurements:
        say(f"  measured  {local_time(m['taken_utc'])}  {m['what']}: {m['value']:g} {m['unit']}  {m['meter']}")
    for note in whole.notes:
        chosen = "  (for the customer)" if note["for_customer"] else ""
        say(f"  note {note['id']}  {local_time(note['written_utc'])}  {note['who']}  {note['text']}{chosen}")
    for photo in whole.photos:
        mark = "" if states[photo["content_hash"]] == "whole" else f"   PHOTO {states[photo['content_hash']].upper()}"
        chosen = "  (for the customer)" if photo["for_customer"] else ""
        say(f"  photo {photo['id']}  {photo['name']}  {photo['caption']}{chosen}{mark}")
    if whole.audit:
        say(f"  changed {len(whole.audit)} times: firstcrank jobs history {number}")


@click.command()
@click.argument("number")
@STORE
def history(number: str, place: str | None) -> None:
    """Who changed what in a job, and when.

    \b
    Examples:
      firstcrank jobs history 1207
    """
    from firstcrank.jobs.records import job_detail
    from firstcrank.units import local_time

    with opened(place) as store:
        lines = job_detail(store, number).audit
    for line in lines:
        say(f"{local_time(line['at_utc'])}  {line['who'] or '(unknown)'}  {line['action']}: {line['text']}")
    if not lines:
        say("Nothing was changed since it was filed.")
