"""A guided visit driven by readings and keys on its own clock."""

from __future__ import annotations

from typing import TypedDict, Unpack

from firstcrank.visit.showing import show
from firstcrank.visit.steps import step
from firstcrank.visit.values import Bins, Key, MakersLimits, Stage, Visit

STEP_S = 0.1
NO_LIMITS = MakersLimits()


class Seen(TypedDict, total=False):
    """What readings tell beside voltages, as Bins has it."""

    missing: tuple[str, ...]
    wait_s: float
    running: bool
    feed_good: bool
    bridged: bool
    unproved: str


class Driven:
    """A visit driven on its own clock; words that were shown, in order."""

    def __init__(self, makers: MakersLimits = NO_LIMITS, attended: bool = True) -> None:
        self.visit = Visit(makers=makers, guided=True, attended=attended)
        self.at_s = 0.0
        self.prompts: list[str] = []
        self.crank_s = 0.0

    def readings(
        self, seconds: float, state: str, feed_v: float = 12.3, battery_v: float = 12.5, **more: Unpack[Seen]
    ) -> Driven:
        for _ in range(round(seconds / STEP_S)):
            self.at_s += STEP_S
            self.crank_s = self.crank_s + STEP_S if state == "cranking" else self.crank_s
            event = Bins(self.at_s, battery_v, feed_v, feed_v, state, crank_s=self.crank_s, **more)
            self.visit = step(self.visit, event)
            self._note()
        return self

    def key(self, letters: str) -> Driven:
        for letter in letters:
            self.visit = step(self.visit, Key(letter, self.at_s))
            self._note()
        return self

    def stage(self) -> Stage:
        """Where the visit stands now."""
        return self.visit.stage

    def _note(self) -> None:
        word = str(show(self.visit).word)
        if not self.prompts or self.prompts[-1] != word:
            self.prompts.append(word)

    def to_ready(self) -> Driven:
        return self.readings(1.0, "key off?", 0.0).readings(0.5, "key off seen", 0.0).readings(1.0, "key on").key(" ")

    def wait_cycle(self) -> Driven:
        return self.readings(1.0, "released", 0.0).readings(1.0, "released").key(" ")

    def crank(self, seconds: float, feed_v: float = 10.0, **more: Unpack[Seen]) -> Driven:
        self.crank_s = 0.0
        return self.readings(seconds, "cranking", feed_v, 10.2, **more).readings(0.3, "released", **more)
