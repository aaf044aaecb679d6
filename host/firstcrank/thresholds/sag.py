"""Finding a crank in the battery's sag alone: how far it is followed and what its compressions must be."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class SagThresholds:
    """Finding a crank in the battery's sag alone: how far it is followed and what its compressions must be."""

    longest_s: float = number(60.0, "s", "of one crank that is followed")
    back_share: float = number(0.08, "", "of the sag's depth below its level: the battery is back")
    back_s: float = number(0.03, "s", "and stays back for this long")
    follow_periods: float = number(3.5, "", "behind a rise in which compressions are looked for")
    follow_share: float = number(0.5, "", "of their swing before")
    follow_points: int = count(4, "turning points that make them go on")
    next_rise: float = number(3.0, "", "times the least step of a release: no compression rises so fast")
    inrush_quantile: float = number(0.2, "", "of the first moments, that is their inrush: a dip of two milliseconds is none")
    beside_crank_s: float = number(0.3, "s", "a fall this close to a crank is that crank's")
    rhythm_early_s: float = number(
        0.6, "s", "compressions are looked for until this behind a fall: the starter may let go meanwhile"
    )
    rhythm_s: float = number(1.2, "s", "and until this")
    rhythm_late_s: float = number(2.5, "s", "and until this")
    beside_s: float = number(0.03, "s", "the rise at the end is measured this far before and after")
    trend_s: float = number(0.4, "s", "moving mean taken off before turning points are looked for")
    noise_times: float = number(4.0, "", "a turning point is more than so many sigma of the smoothed noise")
    step_noise: float = number(2.0, "", "sigma by which noise alone moves the fastest of several changes")
    history: int = count(5, "intervals whose median the next one is held against")
    from_begin: float = number(1.5, "", "periods within which compressions begin with the sag")
    shortest_grid: float = number(2.5, "", "of the shortest interval: less holds no rhythm")
    least_grid: int = count(4, "points of the grid beside the shortest")
    high_quantile: float = number(0.9, "", "of the battery's readings that is its level in or before a sag")
    fall_slack_s: float = number(0.01, "s", "a fall is seen this much before it")
    border_s: float = number(0.002, "s", "the starter has let go no earlier than this before the step")
    depth_s: float = number(0.5, "s", "after the fall, in which the sag's depth is seen")


SAG = SagThresholds()  # at 12 V
