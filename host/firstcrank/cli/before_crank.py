"""The questions of a guided start before any lead is on: dead checks, then the maker's limits."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.wrapped import question, wrapped_text
from firstcrank.errors import UsageError
from firstcrank.visit.before import BEFORE, answer
from firstcrank.visit.values import MAKERS_RANGES_S, MakersLimits, Visit

if TYPE_CHECKING:
    from firstcrank.visit.before import Reply

REPLIES: dict[str, Reply] = {"y": "yes", "n": "no", "s": "skip"}
SECONDS = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:s|sec|seconds?)?\.?", re.IGNORECASE)
ASKED = (
    ("starter_on_s", "Starter on at most, seconds by the engine's maker"),
    ("rest_s", "Starter's rest, seconds by its maker"),
    ("power_down_s", "Module power-down time, seconds by its maker"),
    ("oil_s", "Oil pressure within, seconds by its maker"),
)


def _say(text: str) -> None:
    for line in wrapped_text(text).split("\n"):
        say(line)


def ask_before(visit: Visit) -> Visit:
    """Every check in order. Raises UsageError where an answer means that nothing is cranked today."""
    _say("Before anything is connected: y yes, n no, s skip (with a reason; it stands in the report)")
    for number, check in enumerate(BEFORE, 1):
        asked = question(f"{number}/{len(BEFORE)} {check.question} ({', '.join(REPLIES)})")
        letter = click.prompt(asked, type=click.Choice(list(REPLIES)), show_choices=False)
        reply = REPLIES[letter]
        reason = click.prompt("   Why is it skipped", default="", show_default=False) if reply == "skip" else ""
        visit = answer(visit, check, reply, reason)
        if reply == "no":
            _say(check.if_no)
            if check.stops:
                raise UsageError(f"no crank: {check.if_no}")
    return visit


def ask_makers(known: MakersLimits) -> MakersLimits:
    """The maker's figures that are not known yet; Enter leaves one open, so that common practice stands."""
    given = {}
    for name, figure in ASKED:
        value = getattr(known, name)
        given[name] = value if value is not None else _seconds(figure, name)
    return MakersLimits(**given)


def seconds_typed(text: str, low_s: float, high_s: float) -> float:
    """Seconds as people type them: 20, 20 s, 20,5. Raises ValueError with what to type instead."""
    typed = SECONDS.fullmatch(text.strip())
    if typed is None:
        raise ValueError("a number of seconds, for example 20")
    seconds = float(typed[1].replace(",", "."))
    if not low_s <= seconds <= high_s:
        raise ValueError(f"{seconds:g} s can't be: {low_s:g} to {high_s:g} seconds")
    return seconds


def _seconds(figure: str, name: str) -> float | None:
    while True:
        text = click.prompt(question(f"{figure} (Enter: not known)"), default="", show_default=False).strip()
        if not text:
            return None
        try:
            return seconds_typed(text, *MAKERS_RANGES_S[name])
        except ValueError as error:
            say(f"   {error}")
