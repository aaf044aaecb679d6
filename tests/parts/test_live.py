"""The live tracker bin by bin: when each state begins, what it asks for, how long it goes on. Bins of 10 ms, every time by hand."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.live import LiveTracker, Watch, _Tracker
from firstcrank.limits import shipped
from firstcrank.model.vocabulary import CheckId
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import FloatArray

BIN_S = 0.01
REST_V, LIVE_V, CRANK_V, S_WIRE_V = 12.5, 12.3, 10.0, 9.8


def lived(
    live: LiveTracker,
    seconds: float,
    key_v: float,
    coil_v: float | None = 0.0,
    battery_v: float | FloatArray = REST_V,
    *,
    lowest_v: float | None = None,
    bin_s: float = BIN_S,
) -> LiveTracker:
    """So many seconds more, in one call."""
    count = round(seconds / bin_s)
    if not count:
        return live
    edges = live.now_s + np.arange(count + 1, dtype=np.float64) * bin_s
    key = np.full(count, key_v)
    lowest = key if lowest_v is None else np.full(count, lowest_v)
    battery = np.broadcast_to(np.asarray(battery_v, dtype=np.float64), (count,))
    live.feed(edges[:-1], edges[1:], battery, key, lowest, None if coil_v is None else np.full(count, coil_v))
    return live


def tracker(running: bool | None = None, watch: Watch = "start", hold_on_s: float = 0.0, system_v: int = 12) -> LiveTracker:
    return LiveTracker(shipped(system_v), running, watch, hold_on_s)


def keyed(live: LiveTracker, on_s: float = 0.6) -> LiveTracker:
    """Key off for 0.6 s, then ON."""
    return lived(lived(live, 0.6, 0.0), on_s, LIVE_V)


def cranked(live: LiveTracker, crank_s: float = 2.5, after_s: float = 0.0) -> LiveTracker:
    """A start with its crank from 1.2 s on; the end is seen 0.26 s behind it."""
    return lived(lived(keyed(live), crank_s, LIVE_V, S_WIRE_V, CRANK_V), after_s, LIVE_V)


def lacks(live: LiveTracker) -> list[CheckId]:
    return [m.check for m in live.missing()]


def edges_s(live: LiveTracker) -> tuple[float | None, float | None]:
    """Begin and end of the crank, to the millisecond."""
    begin_s, end_s = (None if t is None else round(t, 3) for t in (live.crank_start_s, live.crank_end_s))
    return begin_s, end_s


def length_s(live: LiveTracker) -> float:
    """Seconds more, of a live feed, until it is done; in bins of 50 ms."""
    begin_s = live.now_s
    while live.state != "done" and live.now_s < begin_s + 100.0:
        lived(live, 0.05, LIVE_V, bin_s=0.05)
    return live.now_s - begin_s


# --- what the common state machine is told


@pytest.mark.parametrize(("system_v", "scale"), [(12, 1), (24, 2)])
def test_levels_in_microvolts(system_v: int, scale: int) -> None:
    limits, th = shipped(system_v), thresholds_for(system_v)
    at_12_v = {
        "live16": 5_000_000,
        "off16": 2_000_000,
        "coil_live16": 3_000_000,
        "sag16": 700_000,
        "recover16": 500_000,
        "turn_sag16": 300_000,
        "ripple16": 40_000,
    }
    levels = {name: value * scale for name, value in at_12_v.items()} | {"on_seen_us": 400_000, "creep_us": 30_000_000}
    assert _Tracker(tracker(), th, limits, True).table == levels
    assert _Tracker(tracker(), th, limits, False).table == levels | {"coil_live16": 0}


@pytest.mark.parametrize(
    ("system_v", "battery_v", "least_v"),
    [(12, 7.0, 3.0), (12, 10.0, 4.0), (12, 14.0, 4.8), (24, 14.0, 6.0), (24, 20.0, 8.0), (24, 28.0, 9.6)],
)
def test_the_starter_lead_is_live_above_3_v_and_above_40_percent_of_the_battery(
    system_v: int, battery_v: float, least_v: float
) -> None:
    start = _Tracker(tracker(), thresholds_for(system_v), shipped(system_v), True)
    battery16 = round(battery_v * 1e6)
    assert start.coil_live(battery16, round(least_v * 1e6) + 2)
    assert not start.coil_live(battery16, round(least_v * 1e6) - 2)


# --- states, one bin before and at the bin where each begins


def test_before_the_first_bin() -> None:
    live = tracker()
    assert (live.state, live.crank_start_s, live.crank_end_s, live.lowest_key_v) == ("key off?", None, None, None)
    assert (live.since_s, live.now_s, live.battery_v, live.key_v) == (0.0, 0.0, 0.0, 0.0)
    assert not live.asks_running
    assert not live.watches_a_visit
    assert tracker(watch="visit").watches_a_visit


def test_each_state_begins_at_its_bin() -> None:
    live = tracker()
    for seconds, key_v, coil_v, before, then in (
        (0.41, 0.0, 0.0, "key off?", "key off seen"),  # dead for more than 0.4 s
        (0.41, LIVE_V, 0.0, "key off seen", "key on"),  # live for more than 0.4 s
        (0.13, LIVE_V, S_WIRE_V, "key on", "cranking"),  # the starter for more than 0.12 s
        (0.26, LIVE_V, 0.0, "cranking", "released"),  # over for more than 0.25 s
    ):
        lived(live, seconds - BIN_S, key_v, coil_v)
        assert live.state == before
        lived(live, BIN_S, key_v, coil_v)
        assert live.state == then
        assert live.since_s == live.now_s
        lived(live, 0.02, key_v, coil_v)
        assert live.now_s - live.since_s == pytest.approx(0.02)
    assert (live.battery_v, live.key_v) == (REST_V, LIVE_V)


def test_times_of_the_crank() -> None:
    live = lived(keyed(tracker()), 0.12, LIVE_V, S_WIRE_V, CRANK_V)
    assert edges_s(live) == (None, None)
    lived(live, 0.38, LIVE_V, S_WIRE_V, CRANK_V)
    assert edges_s(live) == (1.2, None)
    lived(live, 0.3, LIVE_V)
    assert edges_s(live) == (1.2, 1.7)


def test_bins_that_were_lost_shift_no_time() -> None:
    live = keyed(tracker())
    live.now_s += 0.5  # the next bins begin half a second later
    lived(lived(live, 1.0, LIVE_V, S_WIRE_V, CRANK_V), 0.3, LIVE_V)
    assert edges_s(live) == (1.7, 2.7)


def test_the_feeds_lowest_is_that_while_cranking() -> None:
    live = lived(keyed(tracker()), 0.5, LIVE_V, lowest_v=1.0)
    assert live.lowest_key_v is None
    for lowest_v, so_far in ((9.0, 9.0), (8.0, 8.0), (8.5, 8.0)):
        lived(live, 0.5, LIVE_V, S_WIRE_V, CRANK_V, lowest_v=lowest_v)
        assert live.lowest_key_v == so_far
    lived(live, 0.5, LIVE_V)
    lived(live, 0.5, LIVE_V, lowest_v=0.0)
    assert live.lowest_key_v == 8.0


# --- without a starter lead the battery decides


def turned(live: LiveTracker, hz: float, swing_v: float = 0.4) -> LiveTracker:
    """A sag of 2.5 V from 1.2 s on for 2 s, with that rhythm; then the battery is back."""
    lived(lived(live, 0.6, 0.0, None), 0.6, LIVE_V, None)
    at_s = np.arange(400, dtype=np.float64) * 0.005
    sag = np.asarray(CRANK_V + 0.5 * swing_v * np.cos(2 * np.pi * hz * at_s), dtype=np.float64)
    lived(live, 2.0, LIVE_V, None, sag, bin_s=0.005)
    assert live.state == "cranking"
    return lived(live, 0.3, LIVE_V, None)


def test_a_sag_with_compressions_was_a_crank() -> None:
    live = turned(tracker(), 8.0)
    assert live.state == "released"
    assert edges_s(live) == (1.2, 3.2)


def test_a_sag_without_compressions_was_a_heater() -> None:
    live = turned(tracker(), 8.0, 0.0)
    assert (live.state, live.crank_start_s, live.crank_end_s) == ("key on", None, None)


def test_compressions_are_looked_for_from_the_settling_to_just_before_the_end() -> None:
    lows_s = np.asarray([1.0, 1.1, 1.2])
    at_s = np.arange(1000, dtype=np.float64) * 0.002 + 0.001
    away = np.clip(np.abs(at_s[:, None] - lows_s) / 0.05, 0.0, 1.0).min(axis=1)
    live = lived(tracker(), 2.0, LIVE_V, None, np.asarray(10.0 + 0.4 * away, dtype=np.float64), bin_s=0.002)
    assert live.had_rhythm(0.8, 1.35, REST_V)  # from 0.92 to 1.30 s
    assert not live.had_rhythm(0.95, 1.35, REST_V)  # from 1.07 s: two lows
    assert not live.had_rhythm(0.8, 1.2, REST_V)  # to 1.15 s: two lows
    assert not live.had_rhythm(1.5, 1.9, REST_V)
    assert not live.had_rhythm(1.5, 1.5, REST_V)  # nothing there
    assert live.had_rhythm(0.8, 1.35, 10.4 + 24.0)  # swings of 0.39 V: 0.015 of a sag up to 26 V
    assert not live.had_rhythm(0.8, 1.35, 10.4 + 29.0)


def test_twenty_seconds_are_kept() -> None:
    live = tracker()
    for second in range(25):
        lived(live, 1.0, 0.0, None, float(second))
    kept_s = np.concatenate(live._times)
    assert [volts[0] for volts in live._volts] == list(range(5, 25))
    assert len(kept_s) == sum(len(v) for v in live._volts) == 2000
    assert kept_s[0] == pytest.approx(5.005)
    assert len(lived(tracker(), 30.0, 0.0, None)._times) == 1


# --- what is still missing


def test_what_a_start_lacks_in_its_order() -> None:
    live = tracker()
    assert lacks(live) == [CheckId.KEY_SEEN_DEAD, CheckId.CRANK_SEEN]
    assert lacks(lived(live, 0.5, 0.0)) == [CheckId.KEY_SEEN_DEAD, CheckId.CRANK_SEEN]  # it has not come on yet
    assert lacks(lived(live, 0.5, LIVE_V)) == [CheckId.CRANK_SEEN]
    assert lacks(lived(live, 2.5, LIVE_V, S_WIRE_V, CRANK_V)) == [CheckId.CRANK_SEEN]
    assert lacks(lived(live, 0.3, LIVE_V)) == [CheckId.KEY_HELD_AFTER]
    assert lacks(lived(live, 1.69, LIVE_V)) == [CheckId.KEY_HELD_AFTER]
    assert lacks(lived(live, 0.02, LIVE_V)) == []


@pytest.mark.parametrize(
    ("key_v", "seconds", "seen"), [(0.0, 0.06, True), (0.0, 0.04, False), (1.99, 0.06, True), (2.01, 0.06, False)]
)
def test_seen_dead_is_50_ms_below_the_limit(key_v: float, seconds: float, seen: bool) -> None:
    live = lived(lived(tracker(), seconds, key_v), 0.6, LIVE_V)
    lived(lived(live, 2.5, LIVE_V, S_WIRE_V, CRANK_V), 0.3, LIVE_V)
    assert (CheckId.KEY_SEEN_DEAD not in lacks(live)) is seen


@pytest.mark.parametrize(
    ("key_v", "on_s", "seen"), [(5.01, 0.3, True), (4.99, 0.3, False), (LIVE_V, 0.21, True), (LIVE_V, 0.03, False)]
)
def test_live_before_start_is_200_ms_above_the_limit(key_v: float, on_s: float, seen: bool) -> None:
    live = lived(lived(tracker(), 0.6, 0.0), on_s, key_v)
    lived(lived(live, 2.5, key_v, S_WIRE_V, CRANK_V), 0.3, LIVE_V)
    assert (CheckId.KEY_LIVE_BEFORE not in lacks(live)) is seen


def test_dead_and_live_while_cranking_or_afterwards_count_for_nothing() -> None:
    live = lived(lived(tracker(), 0.6, LIVE_V), 0.5, LIVE_V, S_WIRE_V, CRANK_V)
    assert CheckId.KEY_SEEN_DEAD in lacks(lived(lived(live, 1.0, 0.0, S_WIRE_V, CRANK_V), 0.5, 0.0))
    live = lived(lived(lived(tracker(), 0.6, 0.0), 0.5, 0.0, S_WIRE_V, CRANK_V), 1.0, LIVE_V, S_WIRE_V, CRANK_V)
    assert CheckId.KEY_LIVE_BEFORE in lacks(lived(live, 0.5, LIVE_V))


@pytest.mark.parametrize(
    ("crank_s", "running", "lacking", "asks"),
    [
        (2.02, None, False, False),
        (1.98, None, True, True),
        (0.32, None, True, True),
        (0.28, None, True, False),  # too short even with an engine that runs
        (1.98, True, False, False),
        (0.32, True, False, False),
        (0.28, True, True, False),
        (1.98, False, True, False),
    ],
)
def test_a_crank_long_enough(crank_s: float, running: bool | None, lacking: bool, asks: bool) -> None:
    live = cranked(tracker(running), crank_s, 0.3)
    assert (CheckId.CRANK_LONG_ENOUGH in lacks(live)) is lacking
    assert live.asks_running is asks


def test_an_engine_is_asked_for_only_after_the_crank() -> None:
    assert not cranked(tracker(), 1.0).asks_running


# --- when it is over


@pytest.mark.parametrize(
    ("crank_s", "running", "watch", "over_s"),
    [
        (2.5, None, "start", 2.3),  # 2 s after the release, and 0.3 s more than the judge needs
        (1.0, None, "start", 5.0),  # short: an engine that runs shows it within 5 s
        (1.0, True, "start", 2.3),
        (1.0, False, "start", 2.3),
        (2.5, None, "charge", 60.3),
        (2.5, None, "off", 60.0),  # the longest wait for a key that stays on
    ],
)
def test_how_long_it_goes_on(crank_s: float, running: bool | None, watch: Watch, over_s: float) -> None:
    live = cranked(tracker(running, watch), crank_s)
    assert length_s(live) == pytest.approx(over_s, abs=0.051)
    assert live.state == "done"
    assert edges_s(live) == (1.2, 1.2 + crank_s)


@pytest.mark.parametrize("hold_on_s", [0.0, 3.0])
def test_the_power_down_is_watched_to_its_end(hold_on_s: float) -> None:
    live = cranked(tracker(None, "off", hold_on_s), 2.5, 4.0)
    lived(live, hold_on_s + 0.6 - 0.02, 1.99)  # 0.3 s of quiet and 0.3 s more, behind the module's hold
    assert live.state == "released"
    assert lived(live, 0.05, 1.99).state == "done"


def test_a_feed_at_the_off_limit_is_not_off() -> None:
    live = lived(cranked(tracker(None, "off"), 2.5, 4.0), 2.0, 2.0)
    assert live.state == "released"


def test_a_visit_goes_on_for_as_many_cranks_as_come() -> None:
    live = cranked(tracker(watch="visit"), 0.5, 8.0)  # to 9.7 s
    assert (live.state, edges_s(live)) == ("released", (1.2, 1.7))
    lived(live, 0.5, LIVE_V, S_WIRE_V, CRANK_V)
    assert (live.state, edges_s(live)) == ("cranking", (9.7, None))
    lived(live, 0.4, LIVE_V)
    assert edges_s(live) == (9.7, 10.2)
    earlier = live._earlier()
    assert [(round(c.lasted_s, 3), c.ran_on, round(c.watched_s, 3), c.followed) for c in earlier] == [(0.5, False, 8.0, True)]
    assert [(m.check, m.crank) for m in live.missing() if m.check is CheckId.KEY_HELD_AFTER] == [(CheckId.KEY_HELD_AFTER, 2)]


def test_a_long_crank_among_short_ones_is_enough() -> None:
    live = lived(cranked(tracker(watch="visit"), 2.5, 1.0), 0.5, LIVE_V, S_WIRE_V, CRANK_V)
    assert CheckId.CRANK_LONG_ENOUGH not in lacks(lived(live, 0.5, LIVE_V))


# --- the engine's signs are followed


def test_signs_before_in_and_after_the_crank() -> None:
    live = keyed(tracker())
    assert lived(live, 0.6, LIVE_V, 0.0, 10.5).signs.bridged is True
    live = cranked(tracker(), 1.0)
    assert (live.signs.bridged, live.signs.runs_by_itself, live.signs.low_s) == (False, False, 0.0)
    lived(live, 0.2, 6.99, S_WIRE_V, CRANK_V)
    assert live.signs.low_s == pytest.approx(0.2)
    lived(live, 0.2, 7.01, S_WIRE_V, CRANK_V)
    assert live.signs.low_s == pytest.approx(0.2)
    lived(live, 0.27, LIVE_V, 0.0, CRANK_V)
    assert (live.state, live.signs.runs_by_itself) == ("released", False)
    assert lived(live, 0.32, LIVE_V, 0.0, 13.4).signs.runs_by_itself is True


def test_each_crank_of_a_visit_has_its_own_signs() -> None:
    live = lived(keyed(tracker(watch="visit")), 0.5, 0.0, S_WIRE_V, CRANK_V)
    assert live.signs.low_s == pytest.approx(0.38)  # from the bin on in which the crank was seen
    lived(lived(live, 0.5, LIVE_V), 0.5, 0.0, S_WIRE_V, CRANK_V)
    assert live.signs.low_s == pytest.approx(0.38)
    lived(live, 1.0, 0.0, 0.0, 9.0)  # low, but after the crank
    assert live.signs.low_s == pytest.approx(0.38 + 0.25)  # until its end was seen


def test_without_a_starter_lead_nobody_bridges() -> None:
    live = lived(lived(tracker(), 0.6, 0.0, None), 0.6, LIVE_V, None)
    assert lived(live, 1.0, LIVE_V, None, 10.5).signs.bridged is False


def test_signs_of_a_24_v_vehicle_double() -> None:
    live = lived(lived(tracker(system_v=24), 0.6, 0.0, 0.0, 25.0), 0.6, 24.0, 0.0, 25.0)
    assert lived(live, 0.6, 24.0, 0.0, 22.5).signs.bridged is False  # 2.5 V of 3.0 V
    assert lived(live, 0.6, 24.0, 0.0, 21.5).signs.bridged is True


def test_a_dropout_before_the_key_goes_off_does_not_shorten_the_watch_for_the_power_down() -> None:
    """10 s hold on and what belongs to it are counted from the key's going off, not from a dropout before it."""
    live = cranked(tracker(None, "off", 10.0), 2.5, 4.0)
    live = lived(lived(live, 0.02, 0.0), 10.0, LIVE_V)
    assert live.state == "released"
    live = lived(live, 10.0, 0.0)
    assert live.state == "released"
    assert lived(live, 1.0, 0.0).state == "done"
