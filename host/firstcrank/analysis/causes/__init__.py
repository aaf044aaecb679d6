"""Likely causes of what was found, ranked, each with its evidence in plain words and the next check with a meter.

One rule per cause. A rule looks at the findings and at the shape of the trace (does the feed follow the battery, is the loss
tied to START, to the key's travel, to shaking, to current, to time) and gives a confidence from 0 to 1, or nothing.
Confidences are our judgement and no measured frequencies.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from firstcrank.analysis.causes import feed, power
from firstcrank.analysis.causes.advice import ADVICE
from firstcrank.analysis.causes.symptoms import Symptoms, symptoms_of
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Cause, Finding
from firstcrank.model.vocabulary import Result
from firstcrank.thresholds.cause import CAUSE

HINTS = ("slow_crank", "uneven_compression")  # remarks on the engine: behind whatever explains a fault

Rule = Callable[[Symptoms], Cause | None]
RULES: tuple[Rule, ...] = (
    feed.feed_from_start_terminal,
    feed.feed_dead_in_start,
    feed.feed_lost_at_turn,
    feed.feed_relay,
    feed.feed_loose,
    feed.feed_ballast,
    feed.feed_resistance,
    feed.fuse_or_link,
    power.battery_weak,
    power.battery_cable,
    power.ground_path,
    power.starter_control_drop,
    power.heater_reversed,
    power.heater_feed_low,
    power.heater_loose,
    power.backfeed_after_off,
    power.module_supply_drop,
    power.no_charge,
    power.slow_crank,
    power.uneven_compression,
)


def likely_causes(view: View, findings: tuple[Finding, ...]) -> tuple[Cause, ...]:
    """Causes that the evidence favours, the likeliest first; empty where it favours none."""
    symptoms = symptoms_of(view, findings)
    found = [
        replace(cause, next_check=ADVICE[cause.cause].check, cautions=ADVICE[cause.cause].cautions)
        for rule in RULES
        if (cause := rule(symptoms)) is not None and cause.confidence >= CAUSE.least
    ]
    failed = any(f.result is Result.FAIL for f in findings)
    return tuple(sorted(found, key=lambda cause: (failed and cause.cause in HINTS, -cause.confidence)))
