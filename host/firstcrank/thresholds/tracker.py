"""Following a start while it goes on: the tracker's own times are in start_tracker.py, which runs on the board too."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank import start_tracker
from firstcrank.thresholds.number import count, number
from firstcrank.units import US_PER_S


@dataclass(frozen=True, slots=True)
class TrackerThresholds:
    """Following a start while it goes on, on the live screen and on a board that works alone. Times of start_tracker.py are its own."""

    off_seen_s: float = number(start_tracker.OFF_SEEN_US / US_PER_S, "s", "the feed dead for this long: the key was seen off")
    on_seen_s: float = number(0.4, "s", "live screen: the feed live for this long: the key is on")
    live_before_s: float = number(start_tracker.LIVE_BEFORE_US / US_PER_S, "s", "board: live for this long before the crank")
    again_s: float = number(
        start_tracker.AGAIN_US / US_PER_S, "s", "dead for this long without a crank: the key was turned back"
    )
    crank_seen_s: float = number(start_tracker.CRANK_SEEN_US / US_PER_S, "s", "starter or sag for this long: a crank")
    release_seen_s: float = number(start_tracker.RELEASE_SEEN_US / US_PER_S, "s", "over for this long: the crank has ended")
    live_margin_s: float = number(
        start_tracker.LIVE_MARGIN_US / US_PER_S,
        "s",
        "live for this much longer than before and while cranking: the feed is live outside START",
    )
    extra_s: float = number(start_tracker.EXTRA_US / US_PER_S, "s", "watched a little longer than the judge needs")
    level_s: float = number(
        start_tracker.LEVEL_US / US_PER_S, "s", "the battery's level before the crank is its average over this"
    )
    inrush_s: float = number(start_tracker.INRUSH_US / US_PER_S, "s", "board: left out of what is counted in a crank")
    swings_least: float = number(float(start_tracker.LEAST_SWINGS), "", "board, no starter lead: turns of the battery's curve")
    keep_s: float = number(20.0, "s", "live screen: of the battery's course in which compressions are looked for")
    crank_end_s: float = number(0.05, "s", "live screen: of a crank's end in which none are looked for")
    creep_s: float = number(30.0, "s", "live screen, no starter lead: the level follows a heater's sag this slowly")
    off_wait_s: float = number(60.0, "s", "live screen: longest wait for the key to go off")
    recover_v: float = number(0.5, "V", "no starter lead: the crank is over where the battery is back this close to its level")
    turn_sag_v: float = number(0.3, "V", "board: a starter that turns the engine pulls the battery down by this")
    ripple_v: float = number(0.04, "V", "board: a compression swings its coarse means by this")
    charged_v: float = number(13.2, "V", "board: charged above this")
    ground_rise_v: float = number(0.1, "V", "board: the module's ground rose above this: no answer")
    armed_sag_share: float = number(
        0.9, "", "armed board: a block's lowest mean below this share of the slow average begins a recording"
    )
    armed_blocks: int = count(64, "armed board: blocks of that average")
    armed_least_code: int = count(300, "armed board: mean code below which there is no battery to watch")
    board_mean_conversions: int = count(16, "board: conversions of a mean that its guard bands count on")
    board_drop_conversions: float = number(1000.0, "", "board: conversions of a mean drop that its guard band counts on")
    board_bounds_bins: int = count(2, "board: bins to which the edges of a crank and of a loss are known together")
    board_hidden_share: float = number(
        0.01, "", "board: of the feed's level that a bin's mean lacks beside the losses that it shows"
    )
    board_drop_bins: int = count(3, "board: bins of a phase, and more, that show its drop")


TRACKER = TrackerThresholds()  # at 12 V
