"""One simulated start held against what the judge said of it: a small record, ready to be counted."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.uncertainty import of_voltage
from firstcrank.analysis.verdict import judge
from firstcrank.calibration import Calibration
from firstcrank.limits import Limits, shipped
from firstcrank.model.judgement import Dropout, Judgement
from firstcrank.trace import Trace
from firstcrank_sim.board.converter import Converter, drawn_converter, measured_calibration, sim_calibration
from firstcrank_sim.board.to_trace import BIN_S, to_trace
from firstcrank_sim.evaluate.grading import Grade, grade
from firstcrank_sim.vehicle.truth import Truth

NOMINAL_SHARE = 0.3  # of the starts, seen with a calibration from resistor values; the others with a measured one
SLOW_SHARE = 0.25  # of the starts, seen by a converter four times slower
NEAR_S = 0.01
SUPPLY = ("battery_weak", "battery_cable")

ThroughFrames = Callable[[Truth, Converter], Trace]


@dataclass(frozen=True, slots=True)
class Trial:
    """`expected_verdict` from the circuit, `verdict` from the judge: both the key feed's.

    Errors in seconds, volts and shares; empty where nothing to compare.

    `start_error_s` and `duration_error_s` are of dropouts with sharp edges; `slow_error_s` of those where the feed sinks through
    the limit so slowly that the uncertainty of the voltage alone moves the crossing by more than a quarter of a bin.
    `unmatched`: true dropouts not found; `within`: not found, but within the voltage's uncertainty of the limit; `partly`: found in
    part or as one with a neighbour, the feed hardly back in between.
    `volts`: (finding, stated minus true, stated expanded uncertainty). `speed`: (true rpm, stated rpm or None).
    """

    name: str
    seed: int
    expected_verdict: str
    verdict: str
    reasons: tuple[str, ...]
    cause: str | None
    single: bool
    named: tuple[str, ...]
    start_error_s: tuple[float, ...] = ()
    duration_error_s: tuple[float, ...] = ()
    slow_error_s: tuple[float, ...] = ()
    unmatched: int = 0
    within: int = 0
    partly: int = 0
    volts: tuple[tuple[str, float, float], ...] = ()
    speed: tuple[float, float | None] | None = None
    healthy_speed: bool = False
    framed: bool = False


def drawn_for(truth: Truth) -> tuple[Converter, float]:
    """The board that sees this start (calibration and true errors at random) and its time per conversion."""
    rng = np.random.default_rng([truth.seed, *truth.name.encode(), 3])
    nominal = rng.random() < NOMINAL_SHARE
    calibration = (sim_calibration if nominal else measured_calibration)(truth.system_v)
    return drawn_converter(calibration, rng), 8e-6 if rng.random() < SLOW_SHARE else 2e-6


def run(truth: Truth, through_frames: ThroughFrames | None = None) -> Trial:
    """Samples, judges and compares one start. `through_frames`: by the simulated board and its frames instead."""
    converter, conversion_s = drawn_for(truth)
    limits = shipped(truth.system_v)
    trace = through_frames(truth, converter) if through_frames else to_trace(truth, converter, BIN_S, conversion_s)
    graded = grade(truth, limits, converter.calibration, 2 * conversion_s * len(truth.roles) + 4e-5)
    judgement = judge(trace, limits, truth.context)
    level_v = 2.0 * _u_level(truth, converter.calibration, limits)
    return compare(truth, graded, judgement, limits, through_frames is not None, level_v)


def _u_level(truth: Truth, calibration: Calibration, limits: Limits) -> float:
    """Standard uncertainty of the feed at the module's minimum, against the module's own ground where that is watched."""
    u_v = of_voltage(limits["module_minimum_v"], calibration.channel("key_switch").uncertainty)
    if "module_ground" not in truth.roles:
        return u_v
    return math.hypot(u_v, of_voltage(0.0, calibration.channel("module_ground").uncertainty))


def compare(truth: Truth, graded: Grade, judgement: Judgement, limits: Limits, framed: bool, level_v: float) -> Trial:
    """What the judge said beside what is true; `level_v` is the expanded uncertainty at the module's minimum."""
    starts, durations, slow, unmatched, within, partly = _dropouts(truth, judgement, limits, level_v)
    cause = _cause(truth, graded)
    return Trial(
        name=truth.name,
        seed=truth.seed,
        expected_verdict=graded.expected_verdict,
        verdict=judgement.feed.verdict,
        reasons=judgement.feed.reasons[:2],
        cause=cause,
        single=cause is not None and _single(truth, graded, cause),
        named=tuple(c.cause for c in judgement.likely_causes),
        start_error_s=starts,
        duration_error_s=durations,
        slow_error_s=slow,
        unmatched=unmatched,
        within=within,
        partly=partly,
        volts=_volts(truth, judgement),
        speed=_speed(truth, judgement),
        healthy_speed=truth.cause is None and graded.expected_verdict == "PASS",
        framed=framed,
    )


def _cause(truth: Truth, graded: Grade) -> str | None:
    """The scenario's cause, or the battery where a cold start took the feed down although nothing else is wrong."""
    if truth.cause is None and any(v.check == "battery_minimum" for v in graded.certain):
        return "battery_weak"
    return truth.cause


def _single(truth: Truth, graded: Grade, cause: str) -> bool:
    """One fault alone, and its effect beyond doubt: a feed fault must certainly break a limit."""
    by_supply = any(v.check == "battery_minimum" for v in graded.possible)
    if truth.plan.also or (by_supply and cause not in SUPPLY):
        return False
    feed_fault = cause.startswith("feed_") or cause in (*SUPPLY, "ground_path")
    return bool(graded.certain) if feed_fault else True


def _dropouts(
    truth: Truth, judgement: Judgement, limits: Limits, level_v: float
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...], int, int, int]:
    """Errors of start and duration of each true dropout that counts, and how many were not seen, not seen within the
    uncertainty of the limit, seen in part.
    """
    if truth.expected == "NO VERDICT" or truth.plan.leads:
        return (), (), (), 0, 0, 0
    minimum_v, shortest_s = limits["module_minimum_v"], limits["dropout_min_s"]
    starts, durations, slow, unmatched, within, partly = [], [], [], 0, 0, 0
    feed = truth.feed()
    true = _true_dropouts(truth, limits)
    for start_s, end_s in true:
        if end_s - start_s < 1.2 * shortest_s or end_s >= min(truth.end_s, truth.schedule.off_s) - 0.01:
            continue
        near = [d for d in judgement.dropouts if abs(d.start_s - start_s) < NEAR_S]
        best = min(near, key=lambda d: abs(d.start_s - start_s) + abs(d.duration_s - (end_s - start_s)), default=None)
        if best is None or sum(_overlap_s(best, *other) > 0.0 for other in true) > 1:
            seen = any(d.counts and _overlap_s(d, start_s, end_s) > 0.0 for d in judgement.dropouts)
            shallow = not any(b - a >= shortest_s for a, b in feed.below(minimum_v - level_v, start_s, end_s))
            partly += seen
            within += not seen and shallow
            unmatched += not seen and not shallow
            continue
        wide = [(a, b) for a, b in feed.below(minimum_v + level_v, start_s - 0.05, end_s + 0.05) if a <= start_s and b >= end_s]
        sharp = bool(wide) and (wide[0][1] - wide[0][0]) - (end_s - start_s) < BIN_S / 4
        if sharp:
            starts.append(best.start_s - start_s)
            durations.append(best.duration_s - (end_s - start_s))
        else:
            slow.append(best.duration_s - (end_s - start_s))
    return tuple(starts), tuple(durations), tuple(slow), unmatched, within, partly


def _overlap_s(dropout: Dropout, start_s: float, end_s: float) -> float:
    return min(dropout.start_s + dropout.duration_s, end_s) - max(dropout.start_s, start_s)


def _true_dropouts(truth: Truth, limits: Limits) -> list[tuple[float, float]]:
    """The feed's own dropouts, those with too short a recovery between them as one."""
    true: list[tuple[float, float]] = []
    for drop in truth.dropouts(limits["module_minimum_v"], limits["feed_drop_fail_v"]):
        if true and drop.start_s - true[-1][1] < limits["dropout_min_s"] * 1.2:
            true[-1] = (true[-1][0], drop.start_s + drop.duration_s)
        elif not drop.follows:
            true.append((drop.start_s, drop.start_s + drop.duration_s))
    return true


def _volts(truth: Truth, judgement: Judgement) -> tuple[tuple[str, float, float], ...]:
    """Stated minus true for voltages whose meaning is the same on both sides."""
    if truth.expected == "NO VERDICT" or truth.plan.leads or truth.plan.ground_off:
        return ()
    battery = truth.point["battery"]
    true: dict[str, float] = {"battery_rest": battery.mean(0.0, truth.schedule.on_s - 0.02)}
    crank_s = truth.crank_s
    if crank_s is not None and crank_s[1] - crank_s[0] > 0.5:
        true["battery_crank"] = battery.mean(truth.schedule.start_s + 0.2, truth.schedule.open_s - 0.05)
    found = []
    for finding in judgement.findings:
        if finding.check in true and finding.measured is not None and finding.uncertainty:
            found.append((finding.check, finding.measured - true[finding.check], finding.uncertainty))
    return tuple(found)


def _speed(truth: Truth, judgement: Judgement) -> tuple[float, float | None] | None:
    """True and stated crank speed where the cylinders were told and the crank lasted 1.5 s before the engine fired."""
    rpm = truth.crank_rpm()
    s = truth.schedule
    if truth.context.cylinders is None or rpm is None or min(s.open_s, s.fire_s) - s.engage_s < 1.5 or not judgement.cranks:
        return None
    return rpm, judgement.cranks[0].speed_rpm
