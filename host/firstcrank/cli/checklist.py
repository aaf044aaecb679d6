"""firstcrank checklist: the checks of a first start in order, each with why, caution, how, what to expect and what a failure means."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import opened
from firstcrank.cli.wrapped import question
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.visit.checklist import Check, Outcome

COMPLETE, OPEN = 0, 1
FIGURE = "Maker's figure"


@click.command()
@click.argument("job")
@click.option("--store", envvar="FIRSTCRANK_STORE", help="Record store.")
@click.option("--list", "list_file", type=click.Path(dir_okay=False, path_type=Path), help="The shop's own list (TOML).")
@click.option(
    "--write", "write_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the shipped list to a file, to edit."
)
@click.option("--show", "only_show", is_flag=True, help="Show what is done and what is open; ask nothing.")
@click.option(
    "--system", type=click.Choice(["12", "24"]), help="Volts of the vehicle. Default: by its starts in the record, else 12."
)
@click.option("--check", "numbers", type=int, multiple=True, help="Only these checks, also those that are done.")
def checklist(
    job: str,
    store: str | None,
    list_file: Path | None,
    write_file: Path | None,
    only_show: bool,
    system: str | None,
    numbers: tuple[int, ...],
) -> int:
    """Go through the checks of a first start and keep each result with the job. Goes on where it was left.

    Exit code: 0 nothing is open, 1 something is open or failed, 2 wrong usage, 4 trouble with the record.

    \b
    Examples:
      firstcrank checklist 1207
      firstcrank checklist 1207 --show
      firstcrank checklist 1207 --check 13 --system 24
      firstcrank checklist 1207 --write our_list.toml
    """
    from firstcrank.visit.checklist import open_checks

    checks = _read(list_file)
    if write_file is not None:
        return _write(write_file)
    unknown = sorted(set(numbers) - {check.number for check in checks})
    if unknown:
        raise UsageError(f"there is no check {unknown[0]}: the list has {checks[0].number} to {checks[-1].number}")
    record = _Record(job, store, int(system or 0))
    outcomes = record.outcomes(checks)
    if not only_show:
        chosen = [c for c in checks if c.number in numbers] if numbers else list(open_checks(checks, outcomes))
        _go_through(record, chosen, outcomes)
    else:
        _rows(checks, outcomes)
    left = open_checks(checks, outcomes)
    _sum(checks, outcomes, left)
    if not only_show:
        say(f"Every row: firstcrank checklist {job} --show")
    return OPEN if left else COMPLETE


def _rows(checks: tuple[Check, ...], outcomes: dict[int, Outcome]) -> None:
    for check in checks:
        outcome = outcomes.get(check.number)
        text = check.text if len(check.text) <= 50 else f"{check.text[:47]}..."
        say(
            f"{check.number:3d}  {outcome.state if outcome else 'open':<14}  {text}  {outcome.text if outcome else ''}".rstrip()
        )


def _sum(checks: tuple[Check, ...], outcomes: dict[int, Outcome], left: Sequence[Check]) -> None:
    """How many are closed and as what; failed ones apart from open ones."""
    closed = Counter(str(outcomes[c.number].state) for c in checks if c not in left)
    states = ", ".join(f"{count} {state}" for state, count in closed.items())
    failed = [str(c.number) for c in left if c.number in outcomes and outcomes[c.number].state == "failed"]
    still = [str(c.number) for c in left if str(c.number) not in failed]
    say(f"{len(checks) - len(left)} of {len(checks)} closed" + (f" ({states})" if states else ""))
    if failed:
        say(f"FAILED, to be put right: {', '.join(failed)}")
    say(f"open: {', '.join(still) or 'none'}")


def _read(list_file: Path | None) -> tuple[Check, ...]:
    from firstcrank.toml_file import parse_toml, read_toml
    from firstcrank.visit.checklist import checks_of

    if list_file is not None:
        return checks_of(read_toml(list_file, UsageError, "checklist"), str(list_file))
    return checks_of(parse_toml(_shipped(), "the shipped checklist", UsageError), "the shipped checklist")


def _shipped() -> str:
    return (resources.files("firstcrank.data") / "checklist.toml").read_text("utf-8")


def _write(path: Path) -> int:
    if path.exists():
        raise UsageError(f"{path} is already there: choose another name")
    path.write_text(_shipped(), "utf-8")
    say(f"Written to {path.resolve()}")
    return COMPLETE


class _Record:
    """The job's notes as the checklist's memory; the maker's figures once per engine."""

    def __init__(self, job: str, place: str | None, system_v: int = 0) -> None:
        from firstcrank.jobs.records import find_job
        from firstcrank.jobs.vehicle import known_of_vehicle

        self.job, self._place = job, place
        with opened(place) as store:
            self.engine = str(find_job(store, job)["engine"] or "")
            known = known_of_vehicle(store, job)
        self.system_v = system_v or known.system_v or 12

    def outcomes(self, checks: tuple[Check, ...]) -> dict[int, Outcome]:
        """By the notes; what the job's latest real start shows fills what is open. A simulated start fills nothing."""
        from firstcrank.analysis.as_json import from_table
        from firstcrank.jobs.records import job_detail
        from firstcrank.jobs.states import counts
        from firstcrank.visit.checklist import from_judgement, outcomes_of

        with opened(self._place) as store:
            file = job_detail(store, self.job)
        found = outcomes_of(note["text"] for note in file.notes)
        for start in file.starts:
            if start["synthetic"] or not counts(start["state"]):
                continue
            judgement = from_table(json.loads(start["judgement_json"]))
            for check in checks:
                shown = from_judgement(check, judgement)
                if shown is not None:
                    found[check.number] = shown
        return found

    def keep(self, check: Check, outcome: Outcome) -> None:
        """One note."""
        from firstcrank.visit.checklist import note_of

        self.note(note_of(check, outcome))

    def note(self, text: str) -> None:
        """One note of the job."""
        from firstcrank.jobs.records import add_note

        with opened(self._place) as store:
            add_note(store, self.job, text)

    def figure(self, key: str) -> float | None:
        """The maker's figure kept for this engine in any job; None where it was never given."""
        from firstcrank.jobs.listing import every_job
        from firstcrank.jobs.records import job_detail

        mark = f"{FIGURE} for {self.engine or self.job}: {key} = "
        with opened(self._place) as store:
            for job in every_job(store, FIGURE):
                notes = job_detail(store, job["number"]).notes
                values = [n["text"][len(mark) :] for n in notes if n["text"].startswith(mark)]
                if values:
                    return float(values[-1])
        return None

    def keep_figure(self, key: str, value: float) -> None:
        """Once per engine."""
        self.note(f"{FIGURE} for {self.engine or self.job}: {key} = {value:g}")


def keep_by_board(job: str, place: str | None, board: str, outcome: Outcome | None) -> None:
    """Keeps with the job what the switch test or the harness watch showed of its check; says so. Nothing for None."""
    from firstcrank.visit.checklist import note_of

    check = next(check for check in _read(None) if check.board == board)
    if outcome is None:
        say(f"Check {check.number} of job {job} stays open: this proved nothing.")
        return
    _Record(job, place).note(note_of(check, outcome))
    say(f"Check {check.number} of job {job}: {outcome.state} ({outcome.text})")


def _go_through(record: _Record, chosen: list[Check], outcomes: dict[int, Outcome]) -> None:
    part = ""
    for check in chosen:
        if check.part != part:
            part = check.part
            say("")
            say(part)
        outcome = _ask(record, check)
        if outcome is None:
            say("Left here; the same command goes on.")
            return
        outcomes[check.number] = outcome
        record.keep(check, outcome)
        say(f"     {outcome.state}: {outcome.text}")
        if outcome.state == "failed":
            say(f"     FAILED: {check.fails}. Next: {check.next}")


def _ask(record: _Record, check: Check) -> Outcome | None:
    """One check; None to leave."""
    from firstcrank.analysis.causes.cautions import STANDING
    from firstcrank.visit.checklist import Outcome, State, wanted

    say(f"{check.number:3d}. {check.text}")
    say(f"     Why: {check.why}. How: {check.how}")
    if check.caution:
        say(f"     Caution: {check.caution}")
        for key in STANDING:
            if key in check.caution.replace(",", " ").replace(";", " ").split():
                say(f"     {key}: {STANDING[key]}")
    say(f"     Expect: {check.expect} ({check.status_text})")
    limits = check.limits_at(record.system_v)
    if limits != (check.low, check.high):
        say(f"     At {record.system_v} V: {wanted(limits)} {check.unit}")
    keys = "a reading" if check.kind == "reading" else "y yes, n no"
    while True:
        text = click.prompt(question(f"     {keys}, s skip, x not applicable, q leave")).strip()
        if text.lower() == "q":
            return None
        if text.lower() in ("s", "x"):
            reason = click.prompt("     Why").strip()
            return Outcome(State.SKIPPED if text.lower() == "s" else State.NOT_APPLICABLE, reason)
        if check.kind != "reading":
            if text.lower() in ("y", "n"):
                return Outcome(State.DONE if text.lower() == "y" else State.FAILED, "looked at")
            say(f"     {text!r} is no answer here: one letter, y, n, s, x or q")
            continue
        outcome = _reading(record, check, text)
        if outcome is not None:
            return outcome


def _reading(record: _Record, check: Check, text: str) -> Outcome | None:
    from firstcrank.visit.checklist import State, judge_reading, slipped, typed_reading

    try:
        value = typed_reading(text, check.unit)
    except UsageError as error:
        say(f"     {error}")
        return None
    limits = _limits(record, check)
    if slipped(check, value, limits) and not click.confirm(
        question(f"     {value:g} {check.unit}? A decimal point may have slipped. Keep it?")
    ):
        return None
    outcome = judge_reading(value, limits, check.unit)
    return outcome if outcome.state is not State.DONE else _also(check, outcome)


def _also(check: Check, outcome: Outcome) -> Outcome | None:
    """A good reading with what must be true besides; None (asked again) where one of them was not looked at."""
    from firstcrank.visit.checklist import Outcome, State

    for besides in check.also:
        answer = click.prompt(
            question(f"     {besides} y yes, n no, s not measured"), type=click.Choice(["y", "n", "s"]), show_choices=False
        )
        if answer == "n":
            return Outcome(State.FAILED, f"{outcome.text}; no: {besides}")
        if answer == "s":
            say("     Then it stays open: one reading does not close it.")
            return None
    return outcome


def _limits(record: _Record, check: Check) -> tuple[float | None, float | None]:
    """The list's limits, or the maker's upper one, asked once per engine."""
    if not check.maker:
        return check.limits_at(record.system_v)
    value = record.figure(check.maker)
    if value is None:
        text = click.prompt(
            question(f"     The engine maker's figure for this, in {check.unit} (Enter: not known)"),
            default="",
            show_default=False,
        )
        if not text.strip():
            return check.limits_at(record.system_v)
        from firstcrank.thresholds.visit import VISIT
        from firstcrank.visit.checklist import typed_reading

        value = typed_reading(text, check.unit)
        record.keep_figure(check.maker, value)
    return (VISIT.makers_low * value, VISIT.makers_high * value) if check.low is not None else (None, value)
