"""What a visit ended with, for the last screen: a fault that leads it, KEY OFF, what was out of order. Pure.

Order and cautions: no oil pressure, key off and find; a runaway is not stopped by the key (common practice; oil pressure within 15 s:
published engine manuals). The engine maker's figures win.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from firstcrank.analysis.causes.cautions import STANDING
from firstcrank.units import sentence
from firstcrank.visit.account import NO_OIL, seen_first
from firstcrank.visit.steps import BURSTS_S, EXCHANGED, no_crank_reason
from firstcrank.visit.values import Visit

RUNAWAY_CAUTION = "A runaway is not stopped by the key: plate over the intake, never a hand or a rag; then keep clear."


@dataclass(frozen=True, slots=True)
class Ending:
    """How the last screen begins.

    `large`: its large words where a fault was seen by the people at the vehicle, before any verdict; then `why`, `next_check` and
    `cautions` are the fault's. `key_off`: the key has to be off now. `ran`: the engine ran by itself. `no_start`: all bursts came and the
    feed held, and none of them started it. `noted`: what was done out of order and must be read beside the verdict. `at_vehicle`: it is
    shown as the recording ends, and not of a recording that is judged later.
    """

    large: tuple[str, ...] = ()
    why: str = ""
    next_check: str = ""
    cautions: tuple[str, ...] = ()
    key_off: bool = False
    ran: bool = False
    no_start: bool = False
    noted: tuple[str, ...] = ()
    at_vehicle: bool = True

    @property
    def is_fault(self) -> bool:
        """Whether it is no good start, whatever the key feed's verdict: exit code 1."""
        return bool(self.large)


def ending_of(visit: Visit) -> Ending:
    """How a visit ended; of one that nobody attended nothing is noted that only a person could have answered."""
    noted = tuple(
        f"{text}: exchange them" if text == EXCHANGED else text for text in visit.noted if "WAIT" in text or text == EXCHANGED
    )
    noted = noted if visit.guided and visit.attended else ()
    ran = visit.ran or any(burst.ran for burst in visit.bursts)
    if visit.fault == "runaway":
        return Ending(
            ("SHUT AIR", "KEY OFF") if visit.air else ("RUNAWAY", "KEY OFF"),
            "The engine ran away" + (": it was not answered that it stands still." if visit.air else " and its air was shut."),
            "Do not crank again before the cause of the runaway is found.",
            (RUNAWAY_CAUTION,),
            key_off=True,
            ran=True,
            noted=noted,
        )
    if visit.fault == "no oil pressure":
        missed = next((text for text in visit.noted if text.startswith(NO_OIL)), "no oil pressure seen")
        return Ending(
            ("NO OIL PRESSURE", "KEY OFF"),
            f"{sentence(missed)} after the engine ran by itself.",
            "Find out why there was no oil pressure before the next crank.",
            ("No revs and no second start to see whether it comes.", STANDING["K4"]),
            key_off=True,
            ran=True,
            noted=noted,
        )
    held = all(burst.feed_held for burst in visit.bursts)
    no_start = visit.guided and held and not any(b.ran for b in visit.bursts_now) and len(visit.bursts_now) >= len(BURSTS_S)
    unfit = bool(visit.bursts) and bool(no_crank_reason(visit))
    return Ending(key_off=no_start or unfit or not held, ran=ran, no_start=no_start, noted=noted)


def ending_kept(notes: Iterable[str]) -> Ending:
    """Of a recording that is judged later: by what its visit wrote down. The key feed's verdict stays what the judge makes of it."""
    for line, never in seen_first(notes):
        large = "NO OIL PRESSURE" if line.startswith(NO_OIL) else "RUNAWAY"
        return Ending((large,), f"{sentence(line)}.", never, ran=True, at_vehicle=False)
    return Ending(at_vehicle=False)
