"""Standard starting profiles through the judge: time below a threshold and lowest voltage as computed from their figures.

Each profile is drawn from the standard's own corner points, so both numbers follow by hand. The standards themselves are not
free; each row says where its figures come from. "memory" means not found in a public text: such rows test the arithmetic and
cite nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.analysis.view import build_view
from firstcrank.limits import Limits, shipped
from firstcrank.model.context import Context
from firstcrank.trace import Trace
from tests.acceptance.start import BIN_S, PER_BIN, STEP_S, Start


@dataclass(frozen=True)
class Profile:
    """Corner points (seconds after the start, volts), then an optional 2 Hz sine about a centre."""

    name: str
    source: str
    corners: tuple[tuple[float, float], ...]
    ripple: tuple[float, float, float, float] | None = None  # begin, length, centre, peak-to-peak
    back: tuple[float, float] = (0.05, 12.0)  # ramp time, level
    system_v: int = 12


ISO_I = Profile(
    "ISO 16750-2:2003 level I",
    "ISO 16750-2:2003 4.5.3, from a waveform file that names edition and clause, address not kept",
    ((0.0, 12.0), (0.005, 8.0), (0.020, 8.0), (0.070, 10.5)),
    ripple=(0.070, 1.0, 10.5, 2.0),
    back=(0.040, 12.0),
)
ISO_24V_III = Profile(
    "ISO 16750-2:2006 24 V level III",
    "ISO 16750-2:2006 4.6.3, from a waveform file that names edition and clause, address not kept",
    ((0.0, 24.0), (0.010, 6.0), (0.060, 6.0), (0.110, 11.0)),
    ripple=(0.110, 1.0, 11.0, 2.0),
    back=(0.040, 24.0),
    system_v=24,
)
LV124_COLD = Profile(
    "LV 124 E-11 cold start, normal",
    "VW 80000:2013 6.11, from a waveform file that names it, address not kept",
    ((0.0, 11.0), (0.001, 4.5), (0.020, 4.5), (0.070, 6.5)),
    ripple=(0.070, 10.0, 7.5, 2.0),
    back=(0.100, 11.0),
)
LV124_WARM = Profile(
    "LV 124 E-11 warm start, long",
    "MBN LV 124:2013, from a waveform file that names it, address not kept",
    ((0.0, 11.0), (0.001, 7.0), (0.016, 7.0), (0.091, 8.0), (0.331, 8.0), (0.401, 9.0), (1.001, 9.0)),
    back=(0.001, 11.0),
)
DC10615_WARM = Profile(
    "older maker's crank pulse, warm",
    "DC-10615:2007 7.5, from a waveform file that names it, address not kept",
    ((0.0, 11.0), (0.001, 7.0), (0.200, 9.0), (0.300, 10.0), (2.200, 10.0)),
    back=(0.100, 11.0),
)

# (profile, threshold V, time below by hand s, lowest V, why)
CASES = [
    (ISO_I, 9.0, 0.25 * 0.005 + 0.015 + 0.4 * 0.050, 8.0, "1/4 of the fall, the hold, 0.4 of the 8 to 10.5 V ramp: 36.25 ms"),
    (
        ISO_I,
        10.0,
        0.5 * 0.005 + 0.015 + 0.8 * 0.050 + 1 / 3,
        8.0,
        "and the sine below centre - 0.5: a third of its 1 s",
    ),
    (ISO_24V_III, 9.0, (3 / 18) * 0.010 + 0.050 + 0.6 * 0.050, 6.0, "3 of 18 V of the fall, the hold, 3 of 5 V of the ramp"),
    (LV124_COLD, 6.0, 1.5 / 6.5 * 0.001 + 0.019 + 0.75 * 0.050, 4.5, "1.5 of 6.5 V of the fall, 19 ms, 1.5 of 2 V of the ramp"),
    (LV124_WARM, 7.5, 0.5 / 4 * 0.001 + 0.015 + 0.5 * 0.075, 7.0, "an eighth of the fall, 15 ms, half the 7 to 8 V ramp"),
    (
        LV124_WARM,
        8.5,
        1.5 / 4 * 0.001 + 0.015 + 0.075 + 0.240 + 0.5 * 0.070,
        7.0,
        "to the middle of the second ramp",
    ),
    (DC10615_WARM, 8.0, 0.25 * 0.001 + 0.5 * 0.199, 7.0, "a quarter of the fall, half of the 199 ms ramp"),
]


def volts(profile: Profile, t: np.ndarray, begin_s: float) -> tuple[np.ndarray, float]:
    """The profile on times `t`, starting at `begin_s`; and when it is back at its level."""
    since = t - begin_s
    x, y = zip(*profile.corners, strict=True)
    curve = np.interp(since, x, y)
    end_s = x[-1]
    if profile.ripple is not None:
        start_s, length_s, centre_v, swing_v = profile.ripple
        sine = centre_v + swing_v / 2 * np.sin(2 * np.pi * 2.0 * (since - start_s))
        curve = np.where((since >= start_s) & (since < start_s + length_s), sine, curve)
        end_s = start_s + length_s
    last_v = float(np.interp(end_s, x, y)) if profile.ripple is None else profile.ripple[2]
    ramp_s, level_v = profile.back
    rising = last_v + (level_v - last_v) * np.clip((since - end_s) / ramp_s, 0.0, 1.0)
    return np.where(since < end_s, curve, rising), begin_s + end_s + ramp_s


def played(profile: Profile, minimum_v: float) -> tuple[Start, Limits, float]:
    begin_s = 4.0
    start = Start(end_s=18.0, noise_v=0.0, scale=1.0)
    seen, back_s = volts(profile, start.t, begin_s)
    start.volts["battery"] = seen
    start.volts["key_switch"] = np.where(start.t >= 2.0, seen, 0.0)
    start.volts["starter_coil"] = np.where((start.t >= begin_s) & (start.t < back_s), seen - 0.3, 0.0)
    base = shipped(profile.system_v)
    limits = replace(base, values={**base.values, "module_minimum_v": minimum_v})
    return start, limits, begin_s


def trace_of(start: Start, profile: Profile, trigger_v: float) -> Trace:
    start.scale = 1.0
    trace = start.trace(trigger_v=trigger_v)
    if profile.system_v == 24:  # the drawn board's inputs end at 18.3 V; let it see 24 V
        bins = len(start.t) // PER_BIN
        channels = {}
        for role, channel in trace.channels.items():
            shaped = start.volts[role].reshape(bins, PER_BIN)
            channels[role] = replace(
                channel, mean_v=shaped.mean(1), lowest_v=shaped.min(1), highest_v=shaped.max(1), full_scale_v=36.0
            )
        trace = replace(trace, channels=channels)
    return trace


@pytest.mark.parametrize(
    ("profile", "threshold_v", "below_s", "lowest_v", "why"), CASES, ids=lambda v: getattr(v, "name", None)
)
def test_time_below_and_lowest_agree_with_the_standard(
    profile: Profile, threshold_v: float, below_s: float, lowest_v: float, why: str
) -> None:
    start, limits, begin_s = played(profile, threshold_v)
    view = build_view(trace_of(start, profile, threshold_v), limits, Context(cranked_with_key=True, module_plugged_in=True))
    found = [d for d in view.dropouts if d.start_s >= begin_s - BIN_S]
    assert sum(d.duration_s for d in found) == pytest.approx(below_s, abs=len(found) * 2 * STEP_S + 1e-4), why
    assert sum(d.duration_low_s for d in found) <= below_s + 1e-4
    assert sum(d.duration_high_s for d in found) >= below_s - 1e-4
    assert min(d.lowest_v for d in found) == pytest.approx(lowest_v, abs=0.005)


def test_a_profile_that_takes_the_feed_down_is_the_supplys_fault() -> None:
    """The whole feed follows the profile, so the judge must name the battery and say that the feed follows it."""
    start, limits, _ = played(LV124_COLD, 6.0)
    judged = judge(trace_of(start, LV124_COLD, 6.0), limits, Context(cranked_with_key=True, module_plugged_in=True))
    assert judged.verdict == "FAIL"
    assert "battery" in judged.reasons[0]
    assert "follows" in judged.reasons[0]
