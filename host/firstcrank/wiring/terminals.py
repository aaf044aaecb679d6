"""What the terminals of an old ignition switch do, and which one a module's key feed belongs on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Terminal:
    """`din` after DIN 72552 where it has a number. `acc`, `run`, `start`: live in that position."""

    name: str
    din: str
    acc: bool
    run: bool
    start: bool
    key_feed: str


TERMINALS = (
    Terminal("battery (unswitched)", "30", True, True, True, "no: the module would never sleep"),
    Terminal("accessory", "75 or 15a", True, True, False, "no: dead in START"),
    Terminal("ignition, live in RUN only", "15 (some switches)", False, True, False, "no: dead in START, the classic trap"),
    Terminal("ignition, live in RUN and START", "15", False, True, True, "YES: this one"),
    Terminal("start", "50", False, False, True, "never: it would feed the starter back"),
    Terminal("ballast by-pass, live in START only", "16 or 15b", False, False, True, "no: dead in RUN"),
    Terminal("ground", "31", False, False, False, "no"),
)

ADVICE = (
    "The key feed belongs on a terminal that is live in RUN and stays live in START, without a gap while the key turns.",
    "If the old switch has none, use a relay arrangement drawn by a competent person. Never join the RUN and START terminals.",
    "Find out with a test lamp on each terminal, starter lead off terminal 50 and tied away, in every position; then prove it "
    "under cranking: firstcrank record.",
)
