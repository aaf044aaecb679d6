"""What a recording must hold to be judged, and what shows that the engine ran by itself."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class EvidenceThresholds:
    """What makes a recording useless or incomplete."""

    rest_low_v: float = number(8.0, "V", "a battery at rest is above this")
    rest_high_v: float = number(16.5, "V", "and below this (24 V: 32 V)")
    rest_low_24v: float = number(18.0, "V", "lowest rest of a 24 V battery", scales=False)
    rest_high_24v: float = number(32.0, "V", "highest rest of a 24 V battery", scales=False)
    rest_s: float = number(
        1.0, "s", "of the begin: the battery's rest where the key never came on, and which lead is the battery's"
    )
    rest_six_v: float = number(5.0, "V", "above this a 6 V vehicle or a flat battery", scales=False)
    rest_below_zero_v: float = number(-0.5, "V", "below this the leads are reversed", scales=False)
    same_battery_v: float = number(0.3, "V", "a feed source this close to the battery with the key off is the battery's")
    edge_from: float = number(0.1, "", "an edge of the feed is timed from this share of its level")
    edge_share: float = number(0.8, "", "and over this share more")
    edge_beside_s: float = number(0.05, "s", "beside it, over which its level is taken")
    edge_time: float = number(0.5, "", "in single readings it may not take this share of a dropout that counts, and")
    edge_rows: float = number(2.0, "", "so many readings: it falls between two, and one may fall into it")
    key_volts_v: float = number(8.0, "V", "a dead battery lead beside a key lead with more than this: exchanged", scales=False)
    same_lead_v: float = number(0.05, "V", "before the crank: two leads that differ by less read the same")
    system_split_v: float = number(17.0, "V", "where nobody gave the system: a battery above this is one of 24 V", scales=False)
    battery_gone_v: float = number(2.5, "V", "the battery lead has come off below this")
    step_v: float = number(0.4, "V", "all leads stepping by this")
    step_alike: float = number(0.25, "", "share by which those steps may differ")
    step_lasts_s: float = number(0.02, "s", "and staying there this long: a clip moved")
    step_dead_v: float = number(0.6, "V", "a lead below this was dead before", scales=False)
    step_clear_s: float = number(0.3, "s", "steps this close to a crank's edge are the starter's")
    same_point_v: float = number(0.03, "V", "key and battery closer than this throughout are on one point")
    same_point_percent: float = number(99.0, "", "percent of the readings that are as close")
    full_scale_share: float = number(0.998, "", "of an input's range: the reading may have been higher")
    least_bins: float = number(10.0, "", "a recording of fewer bins holds almost nothing")
    gap_uneven: float = number(1.5, "", "times the usual gap between samples: sampling paused")
    hole_slack_s: float = number(0.002, "s", "a watch may be shorter by this")


@dataclass(frozen=True, slots=True)
class RunningThresholds:
    """What proves that the engine ran by itself after a short crank, where nobody was asked."""

    takeover_s: float = number(0.08, "s", "the battery rises for at least this before the starter lets go")
    takeover_share: float = number(0.3, "", "of the sag that it wins back by then")
    takeover_step: float = number(0.5, "", "of that rise within one step: a charger joined, no engine took over")
    quiet_share: float = number(0.4, "", "of the compressions' swing that is left after the takeover")
    charged_v: float = number(13.0, "V", "charged above this")
    charged_above_rest_v: float = number(0.3, "V", "and above its rest by this")
    charged_within_s: float = number(6.0, "s", "within this after the release")
    charged_share: float = number(0.9, "", "of the rest of the watch that it stays charged")
    least_bins: int = count(40, "of a crank that show a takeover")
    flat_s: float = number(0.2, "s", "moving mean beside which a swing is measured")
    crank_end_s: float = number(0.004, "s", "left out before the release: the coil's edge")
    watch_end_s: float = number(0.5, "s", "at least this much of the watch's end shows the charge")


EVIDENCE = EvidenceThresholds()  # at 12 V
RUNNING = RunningThresholds()  # at 12 V


def rest_range_v(system_v: int) -> tuple[float, float]:
    """Lowest and highest voltage of a battery at rest in a 12 or 24 V system."""
    if system_v == 12:
        return EVIDENCE.rest_low_v, EVIDENCE.rest_high_v
    return EVIDENCE.rest_low_24v, EVIDENCE.rest_high_24v
