"""What a loss and a drop of the feed are."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class FeedThresholds:
    """Losses and drops of the feed."""

    trigger_near_v: float = number(0.01, "V", "runs counted at a voltage further from the limit say nothing about it")
    merged_s: float = number(
        0.00015, "s", "a recovery this short, or of one sample, makes two losses one: a spike is no recovery"
    )
    merged_share: float = number(0.5, "", "two losses are one where the feed was below for this share of the whole")
    merged_gaps: float = number(1.5, "", "sampling gaps that a recovery must be longer than, as well")
    short_most: float = number(20.0, "", "more losses too short to count than this are undecided")
    unexplained_share: float = number(
        0.15, "", "of the area of a bin's longest loss: so much missing from its mean needs another loss there"
    )
    opening_v: float = number(1.0, "V", "a loss less deep than this within a bin is no opening, and hides no other")
    input_s: float = number(0.00006, "s", "time constant of the feed's input where the calibration does not tell it")
    steady_s: float = number(0.5, "s", "steady drop: worst mean over this")
    brief_s: float = number(0.01, "s", "brief drop: worst mean over this")
    above_source_v: float = number(0.3, "V", "a feed this far above its source has another source")
    follows_share: float = number(0.05, "", "of a loss in which the feed may leave its source and still follow it")


FEED = FeedThresholds()  # at 12 V
