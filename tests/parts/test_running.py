"""Whether the engine ran by itself: each sign just there and just not there, on a start written bin by bin.

ON at 0.5 s, the starter from 1 s to 2 s, then 5 s and a bin more, which is the whole watch. The engine takes over at 1.7 s.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.running import REPORTED, SEEN, ran_on
from firstcrank.analysis.view import View, build_view
from firstcrank.limits import shipped
from firstcrank.model.context import Context

from .plain_trace import BIN_S, flat, plain_trace, put

FALL, TAKES_OVER, BACK = 512, 870, 1024
WATCH = 2560 + 1  # bins, 5 s and the bin in which the starter may still have been live
SAG_V = 2.0


def started(
    *,
    wins_v: float = 1.2,
    ramp_s: float = 0.1,
    swing_left: float = 0.0,
    charged_v: float = 14.0,
    rest_v: float = 12.5,
    watch: int = WATCH,
    lead: bool = True,
    context: Context | None = None,
    late_v: tuple[int, float] | None = None,
) -> View:
    """`wins_v`: what the battery wins back before the release; `late_v`: so many of the last bins at another voltage."""
    count = BACK + watch
    since_s = BIN_S * np.arange(BACK - FALL)
    swing = 0.15 * np.sin(2 * np.pi * 10.0 * since_s)
    taken_s = since_s - BIN_S * (TAKES_OVER - FALL)
    swing *= np.where(taken_s < 0.0, 1.0, swing_left)
    battery = flat(count * BIN_S, rest_v)
    battery[FALL:BACK] = rest_v - SAG_V + swing + wins_v * np.clip(taken_s / ramp_s, 0.0, 1.0)
    battery[BACK:] = charged_v
    if late_v is not None:
        battery[count - late_v[0] :] = late_v[1]
    key = np.where(np.arange(count) < 256, 0.0, battery - 0.1)
    leads = {"battery": battery, "key_switch": key}
    if lead:
        leads["starter_coil"] = put(flat(count * BIN_S, 0.0), 10.0, FALL, BACK)
    return build_view(plain_trace(leads), shipped(12), context or Context())


def test_seen_by_all_signs_together() -> None:
    assert ran_on(started(), 0) == SEEN


# --- what was answered


@pytest.mark.parametrize(
    ("running", "charger", "expected"),
    [
        (True, None, REPORTED),
        (True, False, REPORTED),
        (True, True, ""),
        (False, None, ""),
        (None, True, ""),
        (None, False, SEEN),
    ],
)
def test_answers(running: bool | None, charger: bool | None, expected: str) -> None:
    assert ran_on(started(context=Context(engine_running=running, charger_connected=charger)), 0) == expected


def test_only_after_the_last_crank_it_may_have_run() -> None:
    for running in (None, True):
        view = started(context=Context(engine_running=running))
        twice = replace(view, cranks=view.cranks * 2, found=replace(view.found, intervals=view.found.intervals * 2))
        assert ran_on(twice, 0) == ""
        assert ran_on(twice, 1) == (REPORTED if running else SEEN)


def test_without_the_starter_lead_nothing_is_seen() -> None:
    view = started()
    (interval,) = view.found.intervals
    unled = replace(view, found=replace(view.found, intervals=(replace(interval, by_lead=False),)))
    assert ran_on(unled, 0) == ""
    assert ran_on(replace(unled, context=Context(engine_running=True)), 0) == REPORTED


@pytest.mark.parametrize(("rest_v", "expected"), [(12.99, SEEN), (13.01, "")])
def test_a_charger_at_rest_voids_it(rest_v: float, expected: str) -> None:
    assert ran_on(started(rest_v=rest_v), 0) == expected


def test_a_sag_too_small_to_see_began_with_the_starter() -> None:
    view = started()
    (interval,) = view.found.intervals
    assert interval.sag_s is not None
    assert interval.sag_s >= interval.start.early_s
    unseen = replace(view, found=replace(view.found, intervals=(replace(interval, sag_s=None),)))
    assert ran_on(unseen, 0) == SEEN


# --- the takeover


@pytest.mark.parametrize(("wins_v", "expected"), [(0.63, SEEN), (0.57, ""), (0.0, "")])
def test_it_wins_back_three_tenths_of_the_sag(wins_v: float, expected: str) -> None:
    assert ran_on(started(wins_v=wins_v), 0) == expected


@pytest.mark.parametrize(("ramp_s", "expected"), [(0.1, SEEN), (0.0125, SEEN), (0.007, ""), (0.002, "")])
def test_it_does_so_gradually(ramp_s: float, expected: str) -> None:
    """Not half of it within 5 ms: 0.4 of 12.5 ms, 0.7 of 7 ms."""
    assert ran_on(started(ramp_s=ramp_s), 0) == expected


@pytest.mark.parametrize(("swing_left", "expected"), [(0.0, SEEN), (0.2, SEEN), (0.8, ""), (1.0, "")])
def test_its_compressions_die_away(swing_left: float, expected: str) -> None:
    assert ran_on(started(swing_left=swing_left), 0) == expected


def test_the_last_80_ms_are_the_takeover() -> None:
    """A rise that has ended by then, or one that begins 0.03 s before the release, of which the median knows nothing."""
    late = started(wins_v=0.0)
    battery = late.trace.channels["battery"].mean_v
    calm = 12.5 - SAG_V + 0.15 * np.sin(2 * np.pi * 10.0 * BIN_S * np.arange(BACK - FALL))
    for length, expected in ((105, SEEN), (15, "")):
        battery[FALL:BACK] = calm
        battery[BACK - length : BACK] = 12.5 - SAG_V + 1.2 * np.clip(np.arange(length) / 8.0, 0.0, 1.0)
        assert ran_on(late, 0) == expected


def test_a_battery_that_did_not_sag_was_not_taken_over() -> None:
    view = started()
    view.trace.channels["battery"].mean_v[FALL:BACK] += SAG_V + 0.1
    assert ran_on(view, 0) == ""


# --- charged afterwards


@pytest.mark.parametrize(
    ("rest_v", "charged_v", "expected"),
    [
        (12.5, 13.01, SEEN),
        (12.5, 12.99, ""),
        (12.9, 13.21, SEEN),  # 0.3 V above its rest
        (12.9, 13.19, ""),
    ],
)
def test_charged_above_13_v_and_above_its_rest(rest_v: float, charged_v: float, expected: str) -> None:
    assert ran_on(started(rest_v=rest_v, charged_v=charged_v), 0) == expected


@pytest.mark.parametrize(("missing", "expected"), [(0, SEEN), (1, SEEN), (2, "")])
def test_the_whole_watch_must_be_there(missing: int, expected: str) -> None:
    """But for 2 ms: a bin is 1.95 ms."""
    assert ran_on(started(watch=WATCH - missing), 0) == expected


@pytest.mark.parametrize(("low", "expected"), [(25, SEEN), (26, "")])
def test_nine_tenths_of_the_last_half_second(low: int, expected: str) -> None:
    """256 bins: 231 of them are 0.902, 230 are 0.898."""
    assert ran_on(started(late_v=(low, 12.6)), 0) == expected


@pytest.mark.parametrize(("low", "expected"), [(102, SEEN), (104, "")])
def test_in_a_longer_watch_from_six_seconds_on(low: int, expected: str) -> None:
    """8 s: nine tenths of the last 2 s, 1024 bins."""
    assert ran_on(started(watch=8 * 512 + 1, late_v=(low, 12.6)), 0) == expected


def test_a_key_turned_off_ends_the_watch() -> None:
    view = started(watch=WATCH + 1024)
    view.trace.channels["key_switch"].mean_v[BACK + WATCH - 5 :] = 0.0
    assert ran_on(build_view(view.trace, view.limits, Context()), 0) == ""
