"""What the causes ask of a FAIL's trace. How sure a cause is, which orders the list alone, stands in its rule."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class CauseThresholds:
    """What the causes ask of a FAIL's trace. How sure a cause is, which orders the list alone, stands in its rule."""

    least: float = number(0.2, "", "below this the evidence favours nothing")
    few_short: int = count(10, "losses too short to count that show something of a contact")
    crank_settle_s: float = number(0.02, "s", "of a crank's begin left out of its means")
    contact_s: float = number(0.01, "s", "an open contact has let the feed go dead by then")
    held_s: float = number(0.3, "s", "a feed that stands between dead and good for so long is no contact that opens")
    near_travel_s: float = number(0.06, "s", "the starter's relay follows the key so late")
    travel_before_s: float = number(0.3, "s", "the key travels so long before START")
    shallow_share: float = number(1.5, "", "times the usual drop: a loss no deeper is that drop, and the battery's dip")
    shallow_v: float = number(0.2, "V", "and so much more")
    at_once_share: float = number(0.6, "", "of a step that comes at once: something switched")
    step_share: float = number(0.1, "", "of the source: the feed steps by so much")
    stepped_share: float = number(0.88, "", "of the source: the feed stands below this after the step")
    stepped_s: float = number(0.1, "s", "for so long")


CAUSE = CauseThresholds()  # at 12 V
