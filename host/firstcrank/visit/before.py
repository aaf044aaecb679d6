"""What is proved before the first crank, in order: with the battery off, then before any laptop is connected. Asked, never jumped silently.

Order and cautions: common practice, no single source; barring over by hand, the strap before any lead and the air plate stand in most
first-start instructions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from firstcrank.visit.values import Visit

Reply = Literal["yes", "no", "skip"]


@dataclass(frozen=True, slots=True)
class DeadCheck:
    """One question. `if_no` is what to do where the answer is no; `stops`: then nothing is cranked today."""

    name: str
    question: str
    if_no: str
    stops: bool = True


BEFORE: tuple[DeadCheck, ...] = (
    DeadCheck(
        "barred over by hand",
        "Battery negative off, key out: did the engine turn two full turns by hand, free and even?",
        "Never force it. Find what is in the way (liquid in a cylinder, timing, something that touches); no crank.",
    ),
    DeadCheck(
        "oil, coolant, fuel",
        "Oil, coolant and clean fuel in, turbocharger's oil feed and low-pressure fuel side primed, clear hose free of bubbles?",
        "Fill and prime first, with the primer and not with the starter.",
    ),
    DeadCheck(
        "air shut-off",
        "Intake clear, a flat plate that fits it at hand, starter cables, belts and fan clear?",
        "Make one: the key does not stop a runaway. Never a hand or a rag.",
    ),
    DeadCheck(
        "engine strap",
        "Engine-to-battery strap proved with a fused lamp (55 W: under 20 mV from block to minus post), no laptop connected?",
        "Clean and tighten it: with an open strap the starter's current goes through the thin leads, board and laptop.",
    ),
    DeadCheck(
        "safe to crank",
        "Neutral or park, brake on, wheels chocked, a second person watching, nobody near belts, fan or shafts?",
        "Make it so before anybody touches the key.",
    ),
    DeadCheck(
        "switch test",
        "Switch test without turning the engine done (firstcrank switch-test), S wire (50) back on, torqued, boot on?",
        "Do it first where you can: the trap is found there without a turn of the engine.",
        stops=False,
    ),
)


def answer(visit: Visit, check: DeadCheck, reply: Reply, reason: str = "") -> Visit:
    """The visit with one check answered; an empty reason for a skip is told as such."""
    if reply == "yes":
        return replace(visit, answered=(*visit.answered, check.name))
    if reply == "skip":
        return replace(visit, skipped=(*visit.skipped, f"{check.name} ({reason or 'no reason given'})"))
    return replace(visit, noted=(*visit.noted, f"{check.name}: not so"))
