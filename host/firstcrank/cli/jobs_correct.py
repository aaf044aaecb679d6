"""firstcrank jobs change, correct-note, mark, customer, move, archive: what was filed put right, with an audit line each time."""

from __future__ import annotations

import click

from firstcrank.cli.jobs_add import field_options
from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, WHO, opened
from firstcrank.jobs.states import TYPED


@click.command()
@click.argument("number")
@click.option("--number", "new_number", help="Another job number.")
@field_options(None)
@WHO
@STORE
def change(number: str, new_number: str | None, who: str, place: str | None, **fields: str | None) -> None:
    """Correct a job's number or fields. What stood there before is kept: firstcrank jobs history NUMBER.

    \b
    Examples:
      firstcrank jobs change 1207 --number 1270 --plate "FC 4711"

    \b
    Examples:
      firstcrank jobs change 1207 --plate AB-123
    """
    from firstcrank.jobs.corrections import change_job
    from firstcrank.jobs.vin import vin_warnings

    with opened(place) as store:
        lines = change_job(store, number, who, new_number=new_number, **fields)
    for line in lines:
        say(line.replace("_", " "))
    if not lines:
        say("Nothing to change: it says so already.")
    for line in vin_warnings(fields["vin"] or ""):
        say(f"Note: {line}", err=True)


@click.command("correct-note")
@click.argument("note", type=int)
@click.argument("text")
@WHO
@STORE
def correct(note: int, text: str, who: str, place: str | None) -> None:
    """Replace the text of NOTE (its number in `jobs show`). The text before is kept in the job's history.

    \b
    Examples:
      firstcrank jobs correct-note 3 "battery 12.6 V, not 12.0 V"
    """
    from firstcrank.jobs.corrections import correct_note

    with opened(place) as store:
        correct_note(store, note, text, who)


@click.command()
@click.argument("start")
@click.argument("state", type=click.Choice(list(TYPED)))
@click.option("--reason", default="", help="Why; kept in the job's history.")
@WHO
@STORE
def mark(start: str, state: str, reason: str, who: str, place: str | None) -> None:
    """Mark START before-repair, after-repair, not-valid (recorded wrongly), withdrawn (filed by mistake), or none.

    Starts not valid or withdrawn stay in the record and count nowhere.

    \b
    Examples:
      firstcrank jobs mark 12 after-repair
      firstcrank jobs mark 12 not-valid --reason "leads swapped"
    """
    from firstcrank.jobs.corrections import set_state

    with opened(place) as store:
        set_state(store, start, TYPED[state], reason, who)


@click.command()
@click.argument("kind", type=click.Choice(["note", "photo"]))
@click.argument("number", type=int)
@click.option("--no", "hidden", is_flag=True, help="Take it off the customer's page.")
@WHO
@STORE
def customer(kind: str, number: int, hidden: bool, who: str, place: str | None) -> None:
    """Choose a note or photo (its number in `jobs show`) for the customer's page.

    \b
    Examples:
      firstcrank jobs customer note 3
      firstcrank jobs customer photo 1 --no
    """
    from firstcrank.jobs.corrections import show_customer

    with opened(place) as store:
        show_customer(store, kind, number, not hidden, who)


@click.command()
@click.argument("start")
@click.argument("number")
@WHO
@STORE
def move(start: str, number: str, who: str, place: str | None) -> None:
    """Move a START to the job NUMBER.

    \b
    Examples:
      firstcrank jobs move 12 1208
    """
    from firstcrank.jobs.corrections import move_start

    with opened(place) as store:
        move_start(store, start, number, who)


@click.command()
@click.argument("number")
@click.option("--back", is_flag=True, help="Take it out of the archive.")
@WHO
@STORE
def archive(number: str, back: bool, who: str, place: str | None) -> None:
    """Put a job out of sight; it stays in the store.

    \b
    Examples:
      firstcrank jobs archive 1207
    """
    from firstcrank.jobs.corrections import archive_job

    with opened(place) as store:
        archive_job(store, number, not back, who)
