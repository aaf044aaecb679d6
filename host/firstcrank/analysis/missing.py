"""What evidence is still missing for a PASS: one pure function, asked by the judge, the recorder and every screen."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.limits import Limits
from firstcrank.model.vocabulary import CheckId
from firstcrank.thresholds import EvidenceThresholds, KeyThresholds
from firstcrank.units import format_duration


@dataclass(frozen=True, slots=True)
class SeenCrank:
    """One crank so far: how long, whether the engine is known to run by itself, how long the feed was watched afterwards.

    `followed`: another crank followed with the key left on, so that no longer watch is due.
    """

    lasted_s: float
    ran_on: bool
    watched_s: float
    followed: bool = False


@dataclass(frozen=True, slots=True)
class Seen:
    """What a recording has shown so far. `asked_running` is the person's answer whether the engine runs, None for not asked."""

    dead_s: float
    came_on: bool
    live_before_s: float
    cranks: tuple[SeenCrank, ...]
    asked_running: bool | None = None


@dataclass(frozen=True, slots=True)
class Missing:
    """One piece of evidence that a PASS still needs. `wait_s`: watching this much longer can bring it; 0 where it can't.

    `ask_running`: the person's answer whether the engine runs by itself can bring it.
    """

    check: CheckId
    reason: str
    crank: int | None = None
    wait_s: float = 0.0
    ask_running: bool = False


def missing_evidence(seen: Seen, limits: Limits, key: KeyThresholds, th: EvidenceThresholds) -> tuple[Missing, ...]:
    """Everything that is still missing, in the order of a start."""
    found: list[Missing] = []
    if not seen.came_on or seen.dead_s < key.dead_least_s:
        found.append(
            Missing(CheckId.KEY_SEEN_DEAD, "the key feed was never seen off: start with the key off, then ON, wait, then START")
        )
    if seen.cranks and seen.came_on and seen.live_before_s < key.live_before_s:
        found.append(
            Missing(
                CheckId.KEY_LIVE_BEFORE,
                "the feed was not up before the crank (key off, or one sweep from OFF to START): do ON, wait, then START",
            )
        )
    if not seen.cranks:
        found.append(Missing(CheckId.CRANK_SEEN, "no crank was seen"))
        return tuple(found)
    if not any(long_enough(crank, limits) for crank in seen.cranks):
        found.append(_too_short(seen, limits))
    for number, crank in enumerate(seen.cranks, start=1):
        due_s = limits["after_release_s"] - crank.watched_s
        if not crank.followed and due_s > th.hole_slack_s:
            found.append(
                Missing(
                    CheckId.KEY_HELD_AFTER,
                    f"only {format_duration(max(crank.watched_s, 0.0))} after the starter let go were seen, "
                    f"{format_duration(limits['after_release_s'])} are needed with the key left ON",
                    number,
                    wait_s=due_s if number == len(seen.cranks) else 0.0,
                )
            )
    return tuple(found)


def long_enough(crank: SeenCrank, limits: Limits) -> bool:
    """Whether a crank lasted, or the engine ran on after it."""
    if crank.lasted_s >= limits["crank_min_s"]:
        return True
    return crank.ran_on and crank.lasted_s >= limits["crank_min_running_s"]


def _too_short(seen: Seen, limits: Limits) -> Missing:
    longest = max(seen.cranks, key=lambda crank: crank.lasted_s)
    last = seen.cranks[-1]
    quick = last.lasted_s >= limits["crank_min_running_s"] and seen.asked_running is not False
    hint = "say so if the engine runs by itself (--running)" if quick else "crank once more"
    return Missing(
        CheckId.CRANK_LONG_ENOUGH,
        f"the crank was too short: {format_duration(longest.lasted_s)}, at least "
        f"{format_duration(limits['crank_min_s'])} are needed, or the engine "
        f"running on by itself; {hint}",
        wait_s=max(limits["run_on_s"] - last.watched_s, 0.0) if quick else 0.0,
        ask_running=quick and seen.asked_running is None,
    )
