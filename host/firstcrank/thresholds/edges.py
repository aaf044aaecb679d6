"""Edges and borders: how exactly they are known, and what lies beside them."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class EdgeThresholds:
    """Edges and borders: how exactly they are known, and what lies beside them."""

    sharp_s: float = number(2e-4, "s", "a border known this exactly")
    nearly: float = number(
        0.95, "", "of the bounce allowed: openings too short to be seen, or one of several in a bin, may lie beside it"
    )
    settled: float = number(5.0, "", "time constants after which a reading has followed")
    left_over: float = number(0.1, "", "of a time constant: what noise and the filter's tolerance leave of the lag")
    smear_s: float = number(1e-4, "s", "the input's filter carries a loss this far beyond its edges")
    beside_bins: int = count(64, "bins on either side that show what the feed usually loses")
    travel_reach_s: float = number(
        0.05, "s", "around the worst window in which an excursion's first and last moment are looked for"
    )
    step_parts: int = count(4, "of the time that a clip's step must last, each of which must show it")
    fed_back_share: float = number(
        0.12, "", "of the system voltage that a feed stands below its source before it steps up: fed back"
    )
    usual_from_s: float = number(2.0, "s", "before the feed is dead: its usual drop is the median from here")
    usual_to_s: float = number(0.5, "s", "to here")
    same_points_v: float = number(
        0.5, "V", "leads calibrated together have the same pivot but for how each shows 0 V", scales=False
    )
    same_edge_s: float = number(0.002, "s", "a close-up this near shows the same edge")
    apart_most: float = number(0.45, "", "of a loss that is the feed's own: then it is no longer its source's")
    usual_part: int = count(10, "a part in so many of the bins before the crank that show the feed's usual drop")


EDGES = EdgeThresholds()  # at 12 V
