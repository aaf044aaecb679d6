"""A start's grade: may it pass, must it pass, how near it lies to a limit, and what is truly wrong with it."""

from __future__ import annotations

from dataclasses import dataclass

from tests.strangers.grader.causes import true_causes
from tests.strangers.grader.evidence import judge_evidence
from tests.strangers.grader.feed import Feed, judge_feed
from tests.strangers.grader.levels import Labels, Margin
from tests.strangers.grader.measure import Known
from tests.strangers.grader.others import judge_others
from tests.strangers.grader.times import find, judged_feed
from tests.strangers.printed import limits
from tests.strangers.start import StrangeStart

CLEAR_U = 4.0
FAULT, NEAR_FAULT, LACKING, UNSURE, NEAR, SOUND = "fault", "near fault", "lacking", "unsure", "near", "sound"


@dataclass(frozen=True, slots=True)
class Grade:
    """`kind`:

    "fault": the truth lies 4 u or more beyond a limit: must not pass. "lacking": evidence is plainly missing: must not pass.
    "near fault": beyond by less. "near": on the right side, nearer than 4 u. "unsure": could be read either way.
    "sound": every limit cleared by 4 u and all evidence there: must pass.
    """

    kind: str
    worst: Margin | None
    margins: tuple[Margin, ...]
    lacking: tuple[str, ...]
    unsure: tuple[str, ...]
    causes: frozenset[str]


def grade(s: StrangeStart) -> Grade:
    """The grade of a start."""
    p = s.plan
    printed = dict(limits(p.system_v))
    printed.setdefault("supply_dip_max_s", 0.005)
    printed.setdefault("supply_dip_lowest_v", 6.0 if p.system_v == 12 else 8.0)
    feed = judged_feed(s)
    times = find(s, feed, printed["feed_off_v"], printed["feed_live_v"], printed["module_minimum_v"])
    source = s.world.volts["feed_source"] if "feed_source" in p.record.leads else s.world.volts["battery"]
    f = Feed(s, Known(s), times, printed, feed, source, source - feed, "starter_coil" not in p.record.leads)
    labels = Labels()
    judge_evidence(f, labels)
    if times.on_s is not None:
        judge_feed(f, labels)
        judge_others(f, labels)
    worst = max(labels.margins, key=lambda m: m.by_u, default=None)
    by = worst.by_u if worst else -CLEAR_U - 1
    if by >= CLEAR_U:
        kind = FAULT
    elif labels.lacking:
        kind = LACKING
    elif by > 0:
        kind = NEAR_FAULT
    elif labels.unsure:
        kind = UNSURE
    else:
        kind = NEAR if by > -CLEAR_U else SOUND
    margins = tuple(sorted(labels.margins, key=lambda m: -m.by_u))
    return Grade(
        kind, worst, margins, tuple(labels.lacking), tuple(dict.fromkeys(labels.unsure)), frozenset(true_causes(f, labels))
    )
