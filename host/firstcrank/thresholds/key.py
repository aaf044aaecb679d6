"""Where the key is."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class KeyThresholds:
    """Where the key is, read from the feed outside the cranks."""

    dead_least_s: float = number(0.05, "s", "dead for this long before it rises: seen off")
    blip_dead_s: float = number(0.05, "s", "dead for this long after a pulse shorter than a dropout: the pulse is no key on")
    settle_s: float = number(0.05, "s", "drops are judged from this after key on")
    rise_bounce_s: float = number(0.1, "s", "a bounce of the key coming on ends within this")
    live_before_s: float = number(0.2, "s", "live for this long before START")
    fall_most_s: float = number(0.5, "s", "key off: from the feed's level to dead within this, without a break")
    fall_step_v: float = number(0.5, "V", "key off begins where the feed has left its source's course by this")
    fall_rise_v: float = number(0.6, "V", "an unbroken fall never rises by more than this")
    fall_bounce_s: float = number(0.01, "s", "but for a bounce while the contact opens")
    off_between_s: float = number(0.65, "s", "between cranks a key that was off was off for this long")
    off_before_s: float = number(0.5, "s", "dead for this long between key on and START: was it the key?")
    travel_s: float = number(0.15, "s", "a bounce of the key's travel lies this close to the starter coil's edge")
    travel_vague_s: float = number(0.3, "s", "up to this it may be one")
    late_relay_s: float = number(
        0.02, "s", "a starter relay lets go up to this late, so the travel may begin before the coil falls"
    )
    early_start_s: float = number(0.005, "s", "the travel may end this much after the coil went live")
    turn_s: float = number(0.3, "s", "the phase called key turn begins this long before START")
    release_s: float = number(0.3, "s", "the phase called release ends this long after the starter let go")


KEY = KeyThresholds()  # at 12 V
