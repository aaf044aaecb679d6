"""Rules on what no honest logger writes, one by one: readings written down by the test, just inside and just outside each border."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from firstcrank.analysis.plausibility import Implausible, copies, find_implausible, standing, top
from firstcrank.analysis.plausibility import rows as row_rules
from firstcrank.analysis.plausibility.examined import Examined, runs_of, still
from firstcrank.trace import Channel, Trace, Uncertainty

Volts = NDArray[np.float64]
STEP_S = 0.001


def rows(start_s: ArrayLike | None = None, **volts: ArrayLike) -> Trace:
    """Single readings, 1 ms apart unless the stamps are given."""
    values = {role: np.asarray(v, dtype=np.float64) for role, v in volts.items()}
    count = len(values["battery"])
    at_s = np.asarray(np.arange(count) * STEP_S if start_s is None else start_s, dtype=np.float64)
    return Trace(
        start_s=at_s,
        end_s=np.append(at_s[1:], at_s[-1] + STEP_S),
        conversions=np.ones(count, dtype=np.int64),
        gap_s=np.full(count, STEP_S),
        channels={role: Channel(role, v, v, v, Uncertainty(0.0, 0.0)) for role, v in values.items()},
    )


def stirred(count: int, volts: float = 12.6, seed: int = 1, step_v: float = 0.001, sigma_steps: float = 3.0) -> Volts:
    """White noise about a level, in steps of the converter."""
    noise = np.random.default_rng(seed).normal(0.0, sigma_steps, count)
    return np.asarray(np.round(volts / step_v + noise) * step_v)


def honest(count: int = 400) -> dict[str, Any]:
    """Two leads with noise of their own."""
    return {"battery": stirred(count), "key_switch": stirred(count, 12.5, 2)}


def kinds(found: Any) -> list[tuple[str, str]]:
    """(role, kind) of each."""
    return [(f.role, f.kind) for f in found]


def only(found: Any) -> Implausible:
    """The one that was found."""
    (one,) = found
    assert isinstance(one, Implausible)
    return one


def put_in(volts: Volts, first: int, past: int, value: float) -> Volts:
    """A copy with other readings in these rows."""
    changed = volts.copy()
    changed[first:past] = value
    return changed


# --- the whole


def stuck_clock(count: int, at: int) -> NDArray[np.float64]:
    stamps = np.arange(count) * STEP_S
    stamps[at + 1] = stamps[at]
    return np.asarray(stamps)


def test_a_handful_of_rows_is_not_asked() -> None:
    assert find_implausible(rows(stuck_clock(199, 50), **honest(199))) == ()
    assert kinds(find_implausible(rows(stuck_clock(200, 50), **honest(200)))) == [("battery", "time")]


def test_bins_of_several_readings_and_missing_leads_are_not_asked() -> None:
    wrong = rows(stuck_clock(400, 50), **honest())
    two = wrong.conversions.copy()
    two[7] = 2
    assert find_implausible(replace(wrong, conversions=two)) == ()
    assert find_implausible(rows(stuck_clock(400, 50), battery=stirred(400))) == ()


def test_honest_noise_is_plausible() -> None:
    assert find_implausible(rows(**honest(2000))) == ()


def test_what_was_found_comes_by_time() -> None:
    coarse = 12.0 + 0.1 * (np.arange(400) % 9)
    found = find_implausible(rows(stuck_clock(400, 50), battery=stirred(400), key_switch=coarse))
    assert kinds(found) == [("key_switch", "coarse"), ("battery", "time")]


@pytest.mark.parametrize(("volts", "scale"), [(17.0, 1.0), (17.1, 2.0)])
def test_the_system_is_told_by_the_battery(volts: float, scale: float) -> None:
    assert Examined(rows(battery=np.full(9, volts), key_switch=np.zeros(9))).scale == scale


def test_rows_that_cover_a_time() -> None:
    view = Examined(rows(**honest()))
    assert view.step_s == pytest.approx(STEP_S)
    assert [view.rows(0.0105, 5), view.rows(0.0105, 20), view.rows(0.0, 1)] == [11, 20, 1]


def test_a_stretch_ends_with_its_last_row() -> None:
    found = Examined(rows(**honest())).found("battery", 10, 20, "held", "x")
    assert (found.start_s, found.end_s) == pytest.approx((0.010, 0.020))


def test_grounds_are_left_out() -> None:
    view = Examined(rows(**honest(), module_ground=np.zeros(400), engine_ground=np.zeros(400), starter_coil=np.zeros(400)))
    assert [role for role, _ in view.leads()] == ["battery", "key_switch", "starter_coil"]


# --- runs


def test_runs_of_true() -> None:
    assert runs_of(np.array([True, False, True, True, False, True])).tolist() == [[0, 1], [2, 4], [5, 6]]
    assert runs_of(np.zeros(3, dtype=bool)).tolist() == []


def test_runs_of_one_reading() -> None:
    assert still(np.array([1.0, 1.0, 1.0, 2.0, 3.0, 3.0])).tolist() == [[0, 3], [4, 6]]


# --- time


def test_a_stamp_that_does_not_rise_is_shown_with_its_neighbour() -> None:
    found = only(row_rules.time(Examined(rows(stuck_clock(400, 50), **honest()))))
    assert (found.role, found.kind) == ("battery", "time")
    assert (found.start_s, found.end_s) == pytest.approx((0.050, 0.052))
    assert "0.0500 s" in found.line


def stamps(steps: ArrayLike) -> NDArray[np.float64]:
    return np.concatenate(([0.0], np.cumsum(np.asarray(steps) * STEP_S)))


def bunched(steps: ArrayLike) -> bool:
    at_s = stamps(steps)
    found = list(row_rules.time(Examined(rows(at_s, **honest(len(at_s))))))
    if found:
        assert found[0].kind == "time"
        assert "bunches" in found[0].line
        assert (found[0].start_s, found[0].end_s) == pytest.approx((0.0, at_s[-1] + STEP_S))
    return bool(found)


@pytest.mark.parametrize(("small", "found"), [(99, False), (100, False), (101, True), (300, True)])
def test_more_than_a_fifth_of_the_rows_at_once_is_a_bunch(small: int, found: bool) -> None:
    assert bunched([0.1] * small + [1.0] * (500 - small)) is found


@pytest.mark.parametrize(("short", "found"), [(0.22, True), (0.24, False)])
def test_at_once_is_below_three_tenths_of_the_usual_step(short: float, found: bool) -> None:
    """Three of ten steps of s: the usual step is 0.7 + 0.3 s, and 0.3 of that is s at s = 0.231."""
    assert bunched(([short] * 3 + [1.0] * 7) * 50) is found


def test_a_long_pause_makes_no_bunches() -> None:
    assert not bunched([1.0] * 497 + [1000.0] * 3)


def test_jitter_by_half_a_step_is_honest() -> None:
    assert not bunched(1.0 + np.random.default_rng(3).uniform(-0.5, 0.5, 600))


# --- coarse


@pytest.mark.parametrize(
    ("level_v", "step_v", "found"), [(12.0, 0.059, False), (12.0, 0.061, True), (24.0, 0.118, False), (24.0, 0.122, True)]
)
@pytest.mark.parametrize("role", ["battery", "key_switch"])
def test_steps_that_hide_a_drop(role: str, level_v: float, step_v: float, found: bool) -> None:
    volts = {"battery": stirred(400, level_v), "key_switch": stirred(400, level_v, 2)}
    volts[role] = np.asarray(level_v + step_v * (np.arange(400) % 9), dtype=np.float64)
    shown = list(row_rules.coarse(Examined(rows(**volts))))
    assert kinds(shown) == [(role, "coarse")] * found
    assert all(f"{step_v * 1e3:.0f} mV" in f.line and (f.start_s, f.end_s) == pytest.approx((0.0, 0.4)) for f in shown)


# --- held


def many(*parts: tuple[int, float]) -> NDArray[np.float64]:
    """(how many, rows apart), one kind after the other."""
    return np.concatenate([np.full(count, apart, dtype=np.float64) for count, apart in parts])


@pytest.mark.parametrize(
    ("apart", "period"),
    [
        (many((200, 1)), 0.0),
        (many((200, 2)), 2.0),
        (many((197, 3), (3, 1)), 3.0),
        (many((196, 3), (4, 1)), 0.0),
        (many((150, 3), (50, 6)), 3.0),
        (many((200, 5)), 5.0),
        (many((50, 5), (150, 10)), 5.0),
        (np.tile([6.0, 7.0], 100), 6.5),
        (many((200, 10)), 10.0),
        (many((199, 10), (1, 5)), 9.975),  # the mean of all that are near
        (many((198, 10), (2, 5)), 0.0),  # one of a hundred comes too early
        (many((196, 10), (4, 8)), 0.0),  # two rows are early
        (many((195, 10), (5, 16)), 10.0),
        (many((194, 10), (6, 16)), 0.0),  # three of a hundred lie between
        (many((150, 8), (50, 17)), 8.0),  # a row beside the grid is rounding
        (many((150, 8), (50, 18)), 0.0),
        (many((150, 10), (50, 57)), 10.0),  # so far apart nothing is said
        (many((150, 10), (50, 47)), 0.0),
        (many((101, 10), (99, 60)), 10.0),
        (many((100, 10), (100, 60)), 0.0),  # and not by half of them
        (many((100, 10), (50, 41), (50, 60)), 10.0),
        (many((150, 40), (50, 162)), 40.0),  # two rows of 162 are rounding as well
        (many((150, 40), (50, 83)), 0.0),
    ],
)
def test_a_period_of_rows(apart: NDArray[np.float64], period: float) -> None:
    assert row_rules._period(apart) == pytest.approx(period, abs=1e-9)


def on_rows(period: float, count: int = 400) -> NDArray[np.float64]:
    """Rows between changes that come every `period` rows, each seen at the next whole row."""
    return np.diff(np.floor(np.arange(count + 1) * period + 1e-9))


@pytest.mark.parametrize(("period", "found"), [(2.4, 0.0), (2.5, 2.5), (3.4, 3.4), (4.7, 4.7)])
def test_a_period_that_is_no_whole_number(period: float, found: float) -> None:
    """Rounding to rows leaves of 2.4 the phases 0, 1/12 and 1/6 of a turn on both sides: (1 + 2 cos 30 + 2 cos 60) / 5 = 0.746."""
    assert row_rules._fine_period(on_rows(period), period) == pytest.approx(found, abs=0.01)


def test_a_change_at_the_very_next_row_is_no_held_reading() -> None:
    apart = on_rows(3.4, 200)
    apart[-1] = 1.0
    assert row_rules._fine_period(apart, 3.4) == pytest.approx(3.4, abs=0.02)
    apart[0] = 1.0
    assert row_rules._fine_period(apart, 3.4) == 0.0


def test_changes_by_chance_have_no_period() -> None:
    assert row_rules._fine_period(np.random.default_rng(5).choice([2.0, 3.0, 4.0, 5.0], 400), 3.4) == 0.0


def by_changes(at: ArrayLike, count: int, level_v: float = 12.0) -> Volts:
    """A lead that goes up and down by 10 mV at these rows."""
    flips = np.zeros(count)
    flips[np.asarray(at, dtype=np.int64)] = 1.0
    return np.asarray(level_v + 0.01 * (np.cumsum(flips) % 2))


@pytest.mark.parametrize(("changes", "found"), [(59, False), (60, True), (61, True)])
def test_a_slow_reading_written_many_times(changes: int, found: bool) -> None:
    count = (changes + 1) * 10
    key = by_changes(np.arange(1, changes + 1) * 10, count)
    shown = list(row_rules.held(Examined(rows(battery=stirred(count), key_switch=key))))
    assert kinds(shown) == [("key_switch", "held")] * found
    assert all("100 times a second and each reading written 10 times over" in f.line for f in shown)
    assert all((f.start_s, f.end_s) == pytest.approx((0.0, count * STEP_S)) for f in shown)


@pytest.mark.parametrize("each", [3, 10])
def test_both_leads_held_are_two_findings(each: int) -> None:
    at = np.arange(1, 101) * each
    battery, key = by_changes(at, 101 * each), by_changes(at, 101 * each, 11.9)
    assert kinds(row_rules.held(Examined(rows(battery=battery, key_switch=key)))) == [
        ("battery", "held"),
        ("key_switch", "held"),
    ]


@pytest.mark.parametrize(("changes", "found"), [(59, False), (60, True)])
def test_a_battery_that_hardly_changes_tells_no_holding(changes: int, found: bool) -> None:
    at = irregular(400)
    count = int(at[-1]) + 5
    battery, key = by_changes(at[:changes], count), by_changes(at, count, 11.9)
    assert bool(list(row_rules.held(Examined(rows(battery=battery, key_switch=key))))) is found


def irregular(changes: int, seed: int = 7) -> NDArray[np.int64]:
    """Rows of changes never next to each other, on no grid."""
    return np.cumsum(np.random.default_rng(seed).choice([2, 3, 4, 5, 7, 8], changes))


def test_leads_that_change_together_alone_were_read_together() -> None:
    at = irregular(400)
    count = int(at[-1]) + 5
    found = only(row_rules.held(Examined(rows(battery=by_changes(at, count), key_switch=by_changes(at, count, 11.9)))))
    assert (found.role, found.kind) == ("battery", "held")
    usual = float(np.median(np.diff(at)))
    assert f"{1000 / usual:.0f} times a second and each reading written {usual:.0f} times over" in found.line


@pytest.mark.parametrize(
    ("alone", "next_to", "found"),
    [
        (0, 2, True),
        (0, 3, False),  # more than one of two hundred changes at the very next row
        (79, 0, True),
        (81, 0, False),  # a fifth of the battery's changes is its own
    ],
)
def test_leads_that_change_apart_were_read_apart(alone: int, next_to: int, found: bool) -> None:
    at = irregular(400)
    count = int(at[-1]) + 5
    again = at[5 : 5 + next_to] + 1
    battery = by_changes(np.concatenate((at, again)), count)
    key = by_changes(np.concatenate((at[alone:], again)), count, 11.9)
    assert bool(list(row_rules.held(Examined(rows(battery=battery, key_switch=key))))) is found


def test_a_key_feed_that_stirs_all_the_time_tells_no_holding() -> None:
    at = irregular(400)
    count = int(at[-1]) + 5
    for share, found in ((0.55, True), (0.65, False)):
        rest = np.setdiff1d(np.arange(1, count), at)
        more = rest[: int(share * count) - len(at)]
        key = by_changes(np.concatenate((at, more)), count, 11.9)
        assert bool(list(row_rules.held(Examined(rows(battery=by_changes(at, count), key_switch=key))))) is found


# --- frozen


def frozen_case(still_rows: int, moves_v: float, level_v: float = 12.0, scale: float = 1.0) -> dict[str, Volts]:
    """The key feed stands still for so many rows from row 200 on, while the battery moves."""
    battery = stirred(1000, 12.6 * scale)
    battery[200 : 200 + still_rows : 2] -= moves_v
    key = stirred(1000, level_v * scale, 2)
    key[200 : 200 + still_rows] = level_v * scale + 0.1  # far from its own noise
    return {"battery": battery, "key_switch": key}


@pytest.mark.parametrize(
    ("still_rows", "moves_v", "level_v", "scale", "found"),
    [
        (99, 1.0, 12.0, 1.0, False),
        (100, 1.0, 12.0, 1.0, True),
        (200, 0.48, 12.0, 1.0, False),
        (200, 0.53, 12.0, 1.0, True),
        (200, 0.97, 12.0, 2.0, False),
        (200, 1.03, 12.0, 2.0, True),
        (200, 3.0, 0.85, 1.0, False),  # a dead lead may read a constant
        (200, 3.0, 0.95, 1.0, True),
        (200, 3.0, 0.90, 2.0, False),
    ],
)
def test_a_lead_that_stands_still_while_the_battery_moves(
    still_rows: int, moves_v: float, level_v: float, scale: float, found: bool
) -> None:
    shown = list(standing.frozen(Examined(rows(**frozen_case(still_rows, moves_v, level_v, scale)))))
    assert kinds(shown) == [("key_switch", "frozen")] * found
    for f in shown:
        assert (f.start_s, f.end_s) == pytest.approx((0.2, 0.2 + still_rows * STEP_S))
        assert f"{still_rows * STEP_S:.1f} s, while the battery moves by {moves_v:.1f} V" in f.line


@pytest.mark.parametrize(("step_v", "found"), [(0.11, False), (0.09, True)])
def test_it_must_move_by_ten_of_the_leads_steps(step_v: float, found: bool) -> None:
    view = Examined(rows(**frozen_case(200, 1.0)))
    view.steps_v["key_switch"] = step_v
    assert bool(list(standing.frozen(view))) is found


@pytest.mark.parametrize("moves_v", [-2.0, 2.0])
@pytest.mark.parametrize(("rows_moved", "found"), [(3, False), (6, True)])
def test_a_spike_is_no_move(moves_v: float, rows_moved: int, found: bool) -> None:
    """Of 200 rows the two of a hundred that lie furthest are left out, on both sides."""
    case = frozen_case(200, 0.0)
    case["battery"][250 : 250 + rows_moved] += moves_v
    assert bool(list(standing.frozen(Examined(rows(**case))))) is found


def test_the_worst_standstill_is_shown() -> None:
    case = frozen_case(150, 1.0)
    case["key_switch"][500:700], case["battery"][500:700:2] = 12.2, 10.0
    case["key_switch"][800:990], case["battery"][800:990:2] = 12.2, 11.0
    found = only(standing.frozen(Examined(rows(**case))))
    assert (found.start_s, found.end_s) == pytest.approx((0.5, 0.7))


def test_a_feed_with_a_source_of_its_own_is_held_against_that() -> None:
    case = frozen_case(200, 2.0)
    assert not list(standing.frozen(Examined(rows(**case, feed_source=stirred(1000)))))
    assert list(standing.frozen(Examined(rows(**case, feed_source=case["battery"]))))
    coil = case.pop("key_switch")
    found = standing.frozen(Examined(rows(**case, key_switch=stirred(1000), starter_coil=coil, feed_source=stirred(1000))))
    assert kinds(found) == [("starter_coil", "frozen")]


@pytest.mark.parametrize(
    ("still_rows", "live_rows", "coil_v", "battery_v", "found"),
    [
        (299, 299, 11.0, 10.0, False),
        (300, 300, 11.0, 10.0, True),
        (400, 381, 11.0, 10.0, True),
        (400, 380, 11.0, 10.0, False),
        (400, 400, 2.9, 10.0, False),
        (400, 400, 3.1, 10.0, True),
        (400, 400, 5.9, 20.0, False),
        (400, 400, 6.1, 20.0, True),
    ],
)
def test_a_battery_cannot_stand_still_while_cranking(
    still_rows: int, live_rows: int, coil_v: float, battery_v: float, found: bool
) -> None:
    battery = stirred(1000, battery_v)
    battery[300 : 300 + still_rows] = battery_v + 0.1
    coil = np.zeros(1000)
    coil[300 : 300 + live_rows] = coil_v
    shown = list(standing.frozen(Examined(rows(battery=battery, key_switch=stirred(1000, battery_v, 2), starter_coil=coil))))
    assert kinds(shown) == [("battery", "frozen")] * found
    assert all((f.start_s, f.end_s) == pytest.approx((0.3, 0.3 + still_rows * STEP_S)) for f in shown)
    assert all("while cranking" in f.line for f in shown)


def test_without_the_starters_lead_a_still_battery_says_nothing() -> None:
    battery = stirred(1000, 10.0)
    battery[300:700] = 10.1
    assert not list(standing.frozen(Examined(rows(battery=battery, key_switch=stirred(1000, 10.0, 2)))))


# --- clipped


def ceiling(tops: int, each: int, every: int, edge_steps: float, top_v: float = 13.0) -> Volts:
    """A battery in noise of 1 mV steps that stands at its top again and again, with an edge before and behind."""
    volts = stirred(3000, 12.0)
    for k in range(tops):
        at = 100 + k * every
        volts[at - 1] = volts[at + each] = top_v - edge_steps * 0.001
        volts[at : at + each] = top_v
    return volts


@pytest.mark.parametrize(
    ("tops", "each", "every", "edge_steps", "found"),
    [
        (5, 3, 300, 100, True),
        (4, 3, 300, 100, False),  # four are no ripple
        (5, 2, 300, 100, False),  # two rows of one value are chance
        (5, 3, 374, 100, True),  # five within 1.496 s
        (5, 3, 376, 100, False),  # within 1.504 s
        (5, 3, 300, 4.5, True),
        (5, 3, 300, 3.5, False),  # honest ripple creeps up to its top
        (7, 3, 374, 100, True),
    ],
)
def test_a_ceiling_that_cuts_the_ripple(tops: int, each: int, every: int, edge_steps: float, found: bool) -> None:
    view = Examined(rows(battery=ceiling(tops, each, every, edge_steps), key_switch=stirred(3000, 11.9, 2)))
    view.steps_v["battery"] = 0.001
    shown = list(top.clipped(view))
    assert kinds(shown) == [("battery", "clipped")] * found
    last = 100 + (tops - 1) * every + each
    assert all((f.start_s, f.end_s) == pytest.approx((0.1, last * STEP_S)) for f in shown)
    assert all("13.00 V" in f.line for f in shown)


@pytest.mark.parametrize("side", [-1, 1])
def test_one_steep_side_is_enough(side: int) -> None:
    volts = ceiling(5, 3, 300, 100)
    for k in range(5):
        at = 100 + k * 300
        volts[at - 1 if side > 0 else at + 3] = 13.0 - 0.001
    view = Examined(rows(battery=volts, key_switch=stirred(3000, 11.9, 2)))
    view.steps_v["battery"] = 0.001
    assert kinds(top.clipped(view)) == [("battery", "clipped")]


def both_sides(flat_rows: int, sag_v: float, key_share: float, key_top_v: float = 13.0) -> list[Implausible]:
    """At the top before a sag and behind it, the key feed with it for a share of the second time."""
    volts = stirred(2000, 12.0)
    volts[100 : 100 + flat_rows] = 13.0
    volts[100 + flat_rows : 1000] = np.minimum(volts[100 + flat_rows : 1000], 12.9)
    volts[100 + flat_rows : 1000] += 13.0 - sag_v - 12.0
    volts[1000 : 1000 + flat_rows] = 13.0
    key = np.full(2000, 0.0)
    key[900:] = 12.9
    key[1000 : 1000 + round(key_share * flat_rows)] = key_top_v
    return list(top.clipped(Examined(rows(battery=volts, key_switch=key))))


@pytest.mark.parametrize(
    ("flat_rows", "sag_v", "key_share", "key_top_v", "found"),
    [
        (200, 1.0, 1.0, 13.0, True),
        (199, 1.0, 1.0, 13.0, False),
        (300, 1.0, 0.91, 13.0, True),
        (300, 1.0, 0.90, 13.0, False),
        (300, 0.53, 1.0, 13.0, True),
        (300, 0.47, 1.0, 13.0, False),
        (300, 1.0, 1.0, 13.1, False),  # a feed that goes higher is not cut off there
        (300, 1.0, 1.0, 12.95, False),
    ],
)
def test_a_ceiling_on_both_sides_of_a_sag(
    flat_rows: int, sag_v: float, key_share: float, key_top_v: float, found: bool
) -> None:
    shown = both_sides(flat_rows, sag_v, key_share, key_top_v)
    assert kinds(shown) == [("battery", "clipped")] * found
    assert all((f.start_s, f.end_s) == pytest.approx((1.0, 1.0 + flat_rows * STEP_S)) for f in shown)


def clipped_with(key: Volts, sag_from: int = 500) -> bool:
    """400 rows at the top, a sag, 400 rows at the top from row 1000 on; the sag may begin late."""
    volts = stirred(2000, 12.0)
    volts[100:500] = 13.0
    volts[500:sag_from] = 12.8
    volts[1000:1400] = 13.0
    return bool(list(top.clipped(Examined(rows(battery=volts, key_switch=key)))))


def test_a_sag_for_a_part_of_the_time_is_a_sag() -> None:
    key = put_in(np.full(2000, 12.9), 1000, 1400, 13.0)
    assert clipped_with(key)
    assert clipped_with(key, 800)
    assert not clipped_with(key, 1000)


def test_the_key_feed_must_be_there_long_enough() -> None:
    off = np.zeros(2000)
    assert not clipped_with(put_in(off, 1000, 1199, 13.0))
    assert clipped_with(put_in(off, 1000, 1250, 13.0))
    low = put_in(off, 1250, 1400, 6.0)  # below half of the top it is not there
    assert clipped_with(put_in(low, 1000, 1250, 13.0))
    there = put_in(off, 1250, 1400, 7.0)
    assert not clipped_with(put_in(there, 1000, 1250, 13.0))


# --- stands still against its own noise


@pytest.mark.parametrize(("at_v", "kind"), [(12.605, "frozen"), (12.7, "clipped")])
def test_a_lead_without_the_noise_that_it_has_elsewhere(at_v: float, kind: str) -> None:
    """Noise of three steps: 1 - 2 Q(0.5 / 3) = 0.132 for each reading to be the same, so 13 in a row come once in 1e11."""
    battery = stirred(2000)
    battery[400:500] = at_v
    battery[700:740] = at_v
    found = only(standing.still_in_noise(Examined(rows(battery=battery, key_switch=stirred(2000, 12.5, 2)))))
    assert (found.role, found.kind) == ("battery", kind)
    assert (found.start_s, found.end_s) == pytest.approx((0.4, 0.5))
    assert ("100 ms" in found.line) is (kind == "frozen")


@pytest.mark.parametrize("role", ["battery", "key_switch"])
def test_the_longest_standstill_of_any_lead(role: str) -> None:
    leads = {"battery": stirred(2000), "key_switch": stirred(2000, 12.6, 2)}
    leads[role] = put_in(put_in(put_in(leads[role], 100, 140, 12.605), 400, 500, 12.606), 700, 750, 12.605)
    found = only(standing.still_in_noise(Examined(rows(**leads))))
    assert (found.role, found.kind) == (role, "frozen")
    assert (found.start_s, found.end_s) == pytest.approx((0.4, 0.5))


@pytest.mark.parametrize("role", ["battery", "key_switch", "starter_coil"])
def test_rows_that_were_filled_in(role: str) -> None:
    """A sloping line of 100 rows and one of 60. The starter lead is not looked at: it is dead most of the time."""
    leads = {"battery": stirred(2000), "key_switch": stirred(2000, 12.6, 2), "starter_coil": stirred(2000, 12.5, 3)}
    for first, rows_ in ((400, 100), (900, 60)):
        leads[role][first : first + rows_] = np.round(np.linspace(12.60, 12.64, rows_), 3)
    shown = list(standing.straight(Examined(rows(**leads))))
    assert kinds(shown) == ([] if role == "starter_coil" else [(role, "filled")])
    if shown:
        assert (shown[0].start_s, shown[0].end_s) == pytest.approx((0.4, 0.5), abs=0.003)
        assert "it was filled in" in shown[0].line


def test_a_level_line_is_a_lead_that_froze_and_not_filled_in() -> None:
    leads = {"battery": put_in(stirred(2000), 400, 500, 12.605), "key_switch": stirred(2000, 12.6, 2)}
    assert not list(standing.straight(Examined(rows(**leads))))


@pytest.mark.parametrize(("quiet", "found"), [(("battery",), []), (("key_switch",), []), ((), ["starter_coil"])])
def test_a_starter_lead_is_as_quiet_as_the_others_are_at_rest(quiet: tuple[str, ...], found: list[str]) -> None:
    """Live only in the crank, where the motor is heard. The solenoid pulls in before it turns: 50 readings of one value."""
    leads = {"battery": stirred(2000), "key_switch": stirred(2000, 12.6, 2)}
    for role in quiet:
        leads[role] = stirred(2000, 12.6, 3, sigma_steps=0.4)
        leads[role][1000:1800] = stirred(800, 10.0, 4)
    coil = put_in(np.zeros(2000), 1000, 1800, 10.0)
    coil[1050:1800] = stirred(750, 9.9, 5)
    shown = [one.role for one in standing.still_in_noise(Examined(rows(**leads, starter_coil=coil)))]
    assert shown == found


@pytest.mark.parametrize("role", ["battery", "key_switch"])
def test_one_lead_stands_still_beside_the_other(role: str) -> None:
    noise = stirred(3000, 12.0, step_v=0.02, sigma_steps=1.0)
    leads = {"battery": noise, "key_switch": stirred(3000, 11.9, 2, step_v=0.02, sigma_steps=1.0)}
    leads[role][1000:1500] = 12.0
    found = only(standing.still_alone(Examined(rows(**leads))))
    assert (found.role, found.kind) == (role, "frozen")
    assert (found.start_s, found.end_s) == pytest.approx((1.0, 1.5))
    assert "500 ms" in found.line
    assert not list(standing.still_alone(Examined(rows(**leads, feed_source=noise))))


# --- computed


@pytest.mark.parametrize(("sigma_v", "found"), [(7e-6, True), (1.4e-5, False)])
def test_readings_without_noise_were_computed(sigma_v: float, found: bool) -> None:
    """Fourth differences of white noise have 70 times its variance: 1 + 16 + 36 + 16 + 1."""
    t = np.arange(2000) * STEP_S
    noise = np.random.default_rng(4).normal(0.0, sigma_v, 2000)
    battery = 12.0 + 0.5 * np.sin(2 * np.pi * 0.5 * t) + noise
    shown = list(copies.noise_free(Examined(rows(battery=battery, key_switch=stirred(2000)))))
    assert kinds(shown) == [("battery", "noise-free")] * found
    assert all((f.start_s, f.end_s) == pytest.approx((0.0, 2.0)) for f in shown)


@pytest.mark.parametrize(("windows", "found"), [(4, False), (5, True)])
def test_it_must_move_for_five_windows(windows: int, found: bool) -> None:
    key = np.full(2000, 12.0)
    key[: windows * 32] += 0.1 * np.sin(np.arange(windows * 32) / 50.0)
    assert (
        kinds(copies.noise_free(Examined(rows(battery=stirred(2000), key_switch=key))))
        == [("key_switch", "noise-free")] * found
    )


def test_a_battery_that_stands_still_leaves_the_key_feed_to_be_asked() -> None:
    smooth = 12.0 + 0.1 * np.sin(np.arange(2000) / 50.0)
    assert kinds(copies.noise_free(Examined(rows(battery=np.full(2000, 12.6), key_switch=smooth)))) == [
        ("key_switch", "noise-free")
    ]


@pytest.mark.parametrize(("silent", "found"), [(10, False), (22, True)])
def test_a_quarter_of_the_windows_without_noise_is_enough(silent: int, found: bool) -> None:
    """Of 62 windows."""
    volts = 12.0 + 0.1 * np.sin(np.arange(2000) / 50.0)
    volts[silent * 32 :] += np.random.default_rng(6).normal(0.0, 0.01, 2000 - silent * 32)
    assert (
        kinds(copies.noise_free(Examined(rows(battery=volts, key_switch=stirred(2000))))) == [("battery", "noise-free")] * found
    )


def test_a_dead_lead_that_drifts_smoothly_is_not_asked() -> None:
    smooth = 0.5 + 0.1 * np.sin(np.arange(2000) / 50.0)
    assert not list(copies.noise_free(Examined(rows(battery=stirred(2000), key_switch=smooth))))


# --- copied


def copied(changes: int, elsewhere: float, role: str = "key_switch") -> list[Implausible]:
    """The lead takes the battery's readings, whose every row is a change, behind the middle; before, a share of them."""
    battery = 12.6 + 0.001 * (np.arange(2000) % 7)
    lead = battery - 0.1
    same = np.arange(1, 1000, 2)[: round(elsewhere * 999)]
    lead[same] = battery[same]
    more = np.arange(2, 1000, 2)[: max(round(elsewhere * 999) - len(same), 0)]
    lead[more] = battery[more]
    lead[1000 : 1000 + changes + 1] = battery[1000 : 1000 + changes + 1]
    lead[1000 + changes + 1 :] = 0.0
    lead[999] = 12.5
    return list(copies.copied(Examined(rows(**{"battery": battery, "key_switch": stirred(2000, 12.5), role: lead}))))


@pytest.mark.parametrize(("changes", "found"), [(199, False), (200, True), (500, True)])
@pytest.mark.parametrize("role", ["key_switch", "starter_coil"])
def test_the_batterys_very_readings_are_a_copy(role: str, changes: int, found: bool) -> None:
    shown = copied(changes, 0.0, role)
    assert kinds(shown) == [(role, "copied")] * found
    assert all((f.start_s, f.end_s) == pytest.approx((1.0, 1.001 + changes * STEP_S)) for f in shown)
    assert all("from 1.00 s on" in f.line for f in shown)


def test_leads_that_agree_as_often_before_are_none() -> None:
    """Six of ten readings elsewhere, of at least 50."""
    assert kinds(copied(500, 0.59)) == [("key_switch", "copied")]
    assert not copied(500, 0.61)


def test_coarse_leads_that_agree_from_end_to_end_are_none() -> None:
    """Noise of a quarter of a step: nearly every reading is the same on both, for long."""
    rng = np.random.default_rng(8)
    common = 12.6 + 0.02 * (np.arange(4000) // 3 % 5)
    apart = np.where(rng.random(4000) < 0.003, 0.02, 0.0)
    assert not list(copies.copied(Examined(rows(battery=common, key_switch=common + apart))))
    apart[:2000] = 0.02
    assert kinds(copies.copied(Examined(rows(battery=common, key_switch=common + apart)))) == [("key_switch", "copied")]


def test_dead_leads_may_agree() -> None:
    battery = 0.9 + 0.001 * (np.arange(1000) % 7)
    assert not list(copies.copied(Examined(rows(battery=battery, key_switch=battery))))
    assert kinds(copies.copied(Examined(rows(battery=battery + 0.2, key_switch=battery + 0.2)))) == [("key_switch", "copied")]


@pytest.mark.parametrize(("others", "found"), [(49, True), (50, False)])
def test_fewer_than_fifty_readings_elsewhere_say_nothing(others: int, found: bool) -> None:
    """All but one of them agree as well."""
    battery = 12.6 + 0.001 * (np.arange(2000) % 7)
    key = battery.copy()
    key[2000 - others] -= 0.1
    assert bool(list(copies.copied(Examined(rows(battery=battery, key_switch=key))))) is found


# --- put on the post


def moved_lead(
    *, drop_v: float = 0.3, at: int = 2000, count: int = 4000, rises_v: float = 0.0, left_v: float = 0.0, scale: float = 1.0
) -> dict[str, Volts]:
    """The feed lies `drop_v` below a battery without noise, from row `at` on only `left_v`; the battery then rises by `rises_v`."""
    battery = np.full(count, 12.6 * scale)
    battery[at:] += rises_v
    drop = np.full(count, drop_v)
    drop[at:] = left_v
    return {"battery": battery, "key_switch": battery - drop}


def on_the_post(case: dict[str, Volts]) -> list[Implausible]:
    view = Examined(rows(**case))
    view.steps_v = dict.fromkeys(view.steps_v, 0.001)
    return list(copies.on_the_post(view))


@pytest.mark.parametrize(
    ("changed", "found"),
    [
        ({}, True),
        ({"drop_v": 0.14}, False),
        ({"drop_v": 0.16}, True),
        ({"drop_v": 0.29, "scale": 2.0}, False),
        ({"drop_v": 0.31, "scale": 2.0}, True),
        ({"drop_v": 0.20, "left_v": 0.055}, False),  # less than 0.15 V is gone
        ({"drop_v": 0.21, "left_v": 0.055}, True),
        ({"left_v": 0.05, "rises_v": 0.012}, True),  # 0.05 of 0.25 V and a step
        ({"left_v": 0.05, "rises_v": 0.016}, False),
        ({"drop_v": 0.6, "left_v": 0.110, "scale": 2.0}, True),  # at 24 V 40 mV and 0.003 of 25.2 V
        ({"drop_v": 0.6, "left_v": 0.121, "scale": 2.0}, False),
        ({"rises_v": 0.015}, True),  # 0.05 of 0.3 V and a step: 16 mV
        ({"rises_v": 0.018}, False),  # a load was switched off
        ({"left_v": 0.055}, True),  # 20 mV and 0.003 of 12.6 V
        ({"left_v": 0.060}, False),
        ({"left_v": -0.055}, True),
        ({"left_v": -0.060}, False),
        ({"at": 3490}, True),
        ({"at": 3510}, False),  # too short a time to be for good
        ({"at": 104}, True),
        ({"at": 98}, False),
    ],
)
def test_a_drop_that_is_gone_at_once_and_for_good(changed: dict[str, Any], found: bool) -> None:
    case = moved_lead(**changed)
    shown = on_the_post(case)
    assert kinds(shown) == [("key_switch", "copied")] * found
    at = changed.get("at", 2000)
    assert all((f.start_s, f.end_s) == pytest.approx((at * STEP_S, 4.0)) for f in shown)
    assert all(f"drop of {changed.get('drop_v', 0.3):.2f} V is gone at {at * STEP_S:.2f} s" in f.line for f in shown)


def test_a_source_of_its_own_explains_it() -> None:
    case = moved_lead()
    assert not list(copies.on_the_post(Examined(rows(**case, feed_source=case["battery"]))))


@pytest.mark.parametrize(("rows_back", "found"), [(1, True), (3, False)])
def test_a_drop_that_is_back_at_the_end_is_not_gone(rows_back: int, found: bool) -> None:
    """Of the last 50 rows more than 95 of a hundred must be without the drop, whatever it is that they show (here a rise)."""
    case = moved_lead()
    case["key_switch"][-rows_back:] += 0.2
    assert bool(on_the_post(case)) is found


@pytest.mark.parametrize(("share", "found"), [(0.019, True), (0.021, False)])
def test_it_stays_gone_but_for_two_of_a_hundred(share: float, found: bool) -> None:
    case = moved_lead()
    first = 2300
    case["key_switch"][first : first + round(share * 1950)] += 0.2
    assert bool(on_the_post(case)) is found


@pytest.mark.parametrize("role", ["battery", "key_switch"])
@pytest.mark.parametrize(("left_v", "found"), [(0.095, True), (0.100, False)])
def test_two_steps_of_the_converter_are_no_drop(role: str, left_v: float, found: bool) -> None:
    """Steps of 30 mV: 60 mV and 0.003 of 12.6 V."""
    view = Examined(rows(**moved_lead(left_v=left_v)))
    view.steps_v = dict.fromkeys(view.steps_v, 0.001) | {role: 0.030}
    assert bool(list(copies.on_the_post(view))) is found


@pytest.mark.parametrize(
    ("row", "volts", "found"),
    [(1998, 0.0, True), (1997, 0.0, False), (1950, 0.0, False), (1945, 0.0, True), (1960, 6.2, False), (1960, 6.4, True)],
)
def test_the_fifty_rows_before_must_be_live(row: int, volts: float, found: bool) -> None:
    """But for the two next to the change. Live is above half of the battery's 12.6 V."""
    case = moved_lead()
    case["key_switch"][row] = volts
    assert bool(on_the_post(case)) is found


@pytest.mark.parametrize(("dead_rows", "found"), [(0, True), (1, False)])
def test_the_feed_was_live_before(dead_rows: int, found: bool) -> None:
    case = moved_lead()
    case["key_switch"][1960 : 1960 + dead_rows] = 0.0
    assert bool(on_the_post(case)) is found


@pytest.mark.parametrize(("rows_off", "found"), [(2, True), (3, False)])
def test_the_drop_was_steady_before(rows_off: int, found: bool) -> None:
    """At least 0.7 of 0.15 V in more than 95 of a hundred of the 50 rows."""
    case = moved_lead()
    case["key_switch"][1960 : 1960 + rows_off] = 12.6 - 0.10
    assert bool(on_the_post(case)) is found
