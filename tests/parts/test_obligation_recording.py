"""Obligations of the recording, one value on each side of every border. ON at 1 s; a dropout of 1 ms counts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.obligations.recording import (
    calibrated,
    closed,
    intact,
    kind,
    lacking,
    nothing_missing,
    plausible,
    role_label,
    sampled_finely,
    shown,
    within_range,
)
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.trace import Hole

from .plain_view import BIN_S, a_feed, at, border, flat, plain_view, put


def test_evidence_that_is_there_or_not() -> None:
    assert lacking(CheckId.READABLE, "why", at_s=2.0, crank=3) == Finding(
        CheckId.READABLE, Result.UNDECIDED, "why", at_s=2.0, crank=3
    )
    assert shown(CheckId.READABLE, "text", 3) == Finding(CheckId.READABLE, Result.PASS, "text", crank=3)
    assert role_label("key_switch") == "key switch"


@pytest.mark.parametrize(
    ("trace", "check", "result", "text"),
    [
        ({}, CheckId.RECORDING_KIND, Result.PASS, "of a start"),
        ({"kind": "switch test"}, CheckId.RECORDING_KIND, Result.UNDECIDED, "a switch test, in which no engine"),
        ({}, CheckId.RECORDING_INTACT, Result.PASS, "are intact"),
        ({"integrity": ("one", "two")}, CheckId.RECORDING_INTACT, Result.UNDECIDED, "one; two"),
        ({}, CheckId.CALIBRATED, Result.PASS, "by a calibration"),
        ({"origin": {"uncalibrated": False}}, CheckId.CALIBRATED, Result.PASS, "by a calibration"),
        ({"origin": {"uncalibrated": True}}, CheckId.CALIBRATED, Result.UNDECIDED, "no calibration"),
        ({}, CheckId.RECORDING_CLOSED, Result.PASS, "closed"),
        ({"complete": False}, CheckId.RECORDING_CLOSED, Result.UNDECIDED, "breaks off"),
    ],
)
def test_the_recording_itself(trace: dict[str, Any], check: CheckId, result: Result, text: str) -> None:
    view = plain_view(trace=trace)
    found = next(f for f in (kind(view), intact(view), calibrated(view), closed(view)) if f.check is check)
    assert found.result is result
    assert text in found.reason


# --- what is missing


def missing(*holes: tuple[float, float], why: str = "bytes were lost", **more: Any) -> Finding:
    return nothing_missing(plain_view(trace={"holes": tuple(Hole(a, b, why) for a, b in holes)}, **more))


@pytest.mark.parametrize(
    ("start_s", "end_s", "found"),
    [
        (4.0, 4.00099, False),
        (4.0, 4.00101, True),
        (0.5, 0.9, False),  # before ON
        (0.5, 1.001, True),
        (7.4, 7.6, True),
        (7.51, 7.6, False),  # behind OFF
        (7.5, 7.6, True),
    ],
)
def test_holes_between_on_and_off(start_s: float, end_s: float, found: bool) -> None:
    shown_here = missing((start_s, end_s), off=border(7.5))
    assert (shown_here.check, shown_here.result) == (CheckId.NOTHING_MISSING, Result.UNDECIDED if found else Result.PASS)
    assert shown_here.at_s == (start_s if found else None)
    assert (f"are missing at {start_s:.2f} s: bytes were lost" in shown_here.reason) is found


def test_the_first_hole_is_told() -> None:
    assert missing((0.2, 0.4), (5.0, 5.1), (4.0, 4.2)).at_s == 4.0
    assert missing((4.0, 4.2), why="").reason == "200 ms are missing at 4.00 s"


@pytest.mark.parametrize(("gap_s", "found"), [(0.0009, False), (0.0011, True)])
def test_jumps_between_bins_are_holes(gap_s: float, found: bool) -> None:
    view = plain_view()
    start_s, end_s = view.trace.start_s.copy(), view.trace.end_s.copy()
    jump = at(4.0)
    start_s[jump:] += gap_s
    end_s[jump:] += gap_s
    times = {"start_s": start_s, "end_s": end_s}
    shown_here = nothing_missing(plain_view(trace=times))
    assert (shown_here.result is Result.UNDECIDED) is found
    assert shown_here.at_s == (4.0 if found else None)
    assert (shown_here.reason == "1.1 ms are missing at 4.00 s") is found
    announced = plain_view(trace=times | {"holes": (Hole(4.0, 4.0 + gap_s, "a pause"),)})
    assert ("a pause" in nothing_missing(announced).reason) is found  # the announced one says why


# --- how finely


def sampled(gap_s: float, everywhere_s: float = 0.0001, *, at_s: float = 4.0, **more: Any) -> Finding:
    gaps = flat(everywhere_s)
    gaps[at(at_s)] = gap_s
    return sampled_finely(plain_view(trace={"gap_s": gaps}, **more))


@pytest.mark.parametrize(
    ("gap_s", "everywhere_s", "at_s", "result", "text"),
    [
        (0.00099, 0.0001, 4.0, Result.PASS, "at most 990 µs apart"),
        (0.001, 0.0001, 4.0, Result.UNDECIDED, "sampling paused for 1 ms at 4.00 s"),
        (0.05, 0.0001, 0.5, Result.PASS, "at most 100 µs apart"),
        (0.05, 0.0001, 7.6, Result.PASS, "at most 100 µs apart"),
        (0.05, 0.00099, 4.0, Result.UNDECIDED, "sampling paused for 50 ms at 4.00 s"),
        (0.05, 0.001, 4.0, Result.UNDECIDED, "one every 1 ms"),
    ],
)
def test_samples_closer_than_the_shortest_dropout(
    gap_s: float, everywhere_s: float, at_s: float, result: Result, text: str
) -> None:
    found = sampled(gap_s, everywhere_s, at_s=at_s, off=border(7.5))
    assert found.result is result
    assert text in found.reason
    assert found.at_s == (4.0 if "paused" in text else None)


def test_nothing_with_the_key_on() -> None:
    assert "nothing was recorded" in sampled(0.0001, off=border(1.0)).reason


# --- the top of the range


@pytest.mark.parametrize(
    ("role", "highest_v", "at_s", "found"),
    [
        ("battery", 19.96, 4.0, True),  # 0.998 of 20 V
        ("battery", 19.95, 4.0, False),
        ("key_switch", 19.96, 4.0, True),
        ("key_switch", 19.96, 0.5, False),
        ("key_switch", 19.96, 7.6, False),
    ],
)
def test_readings_at_the_top_of_the_range(role: str, highest_v: float, at_s: float, found: bool) -> None:
    highest = {role: put(flat(12.6), highest_v, at_s, at_s + BIN_S)}
    shown_here = within_range(plain_view(highest=highest, full_scale_v={"battery": 20.0, "key_switch": 20.0}, off=border(7.5)))
    assert (shown_here.check, shown_here.result) == (CheckId.WITHIN_RANGE, Result.UNDECIDED if found else Result.PASS)
    assert shown_here.at_s == (at_s if found else None)
    assert not found or f"{role_label(role)} lead went above the 20.00 V" in shown_here.reason


def test_inputs_whose_range_is_not_known_or_lies_below_zero() -> None:
    high = {"battery": flat(50.0), "key_switch": put(a_feed(), 19.97, 4.0, 4.1)}
    assert within_range(plain_view(highest=high)).result is Result.PASS
    known = within_range(plain_view(highest=high, full_scale_v={"key_switch": 20.0}))
    assert (known.result, known.at_s) == (Result.UNDECIDED, 4.0)
    ground = {"module_ground": put(flat(-2.0), -1.0, 4.0, 4.1)}
    for top_v, result in ((-0.999, Result.UNDECIDED), (-0.997, Result.PASS)):
        view = plain_view(module_ground=flat(-2.0), highest=ground, full_scale_v={"module_ground": top_v})
        assert within_range(view).result is result


# --- readings of another logger


@pytest.mark.parametrize(
    ("stuck_s", "found"),
    [(4.0, True), (0.5, False), (0.998, False), (7.6, False)],
)
def test_what_is_implausible_between_on_and_off(stuck_s: float, found: bool) -> None:
    """A stamp that does not rise; single readings, with noise."""
    rng = np.random.default_rng(1)
    count = len(flat(0.0))
    noise = [np.round(rng.normal(0.0, 3.0, count)) * 0.001 for _ in range(2)]
    view = plain_view()
    start_s, end_s = view.trace.start_s.copy(), view.trace.end_s.copy()
    first = at(stuck_s) - 2
    start_s[first + 1] = start_s[first]
    trace = {"start_s": start_s, "end_s": end_s, "conversions": np.ones(count, dtype=np.int64)}
    leads: dict[str, Any] = {"battery": flat(12.6) + noise[0], "key_switch": a_feed() + noise[1]}
    shown_here = plausible(plain_view(trace=trace, cranks=(), off=border(7.5), **leads))
    assert (shown_here.check, shown_here.result) == (CheckId.PLAUSIBLE, Result.UNDECIDED if found else Result.PASS)
    assert shown_here.at_s == (pytest.approx(stuck_s - 2 * BIN_S) if found else None)


# --- how fast single readings can follow


def edges_of(
    rise_s: float,
    row_s: float = 0.0001,
    per_row: int = 1,
    fall_s: float | None = None,
    level_v: float = 12.0,
    later: float = 1.0,
) -> Finding:
    """A feed that comes on at 1 s in a straight line, and goes off at 3 s so too, sharply unless told; rows `row_s` apart.

    `later`: so many times its level from 1.5 s to 2.9 s, as a battery that is charged.
    """
    at_s = np.arange(round(4.0 / row_s)) * row_s
    up = np.clip((at_s - 1.0) / max(rise_s, 1e-9), 0.0, 1.0)
    down = np.clip((at_s - 3.0) / max(rise_s if fall_s is None else fall_s, 1e-9), 0.0, 1.0)
    up *= np.where((at_s > 1.5) & (at_s < 2.9), later, 1.0)
    count = len(at_s)
    trace = {"conversions": np.full(count, per_row, dtype=np.int64), "gap_s": np.full(count, row_s)}
    return sampled_finely(
        plain_view(
            bin_s=row_s, battery=np.full(count, level_v), key_switch=level_v * (up - down), cranks=(), phases=(), trace=trace
        )
    )


@pytest.mark.parametrize(
    ("rise_s", "more", "result"),
    [
        (0.0, {}, Result.PASS),
        (0.0006, {}, Result.PASS),  # four fifths of it are timed, one row and one more of 0.1 ms belong to no edge
        (0.0012, {}, Result.UNDECIDED),
        (0.0018, {}, Result.UNDECIDED),
        (0.010, {}, Result.UNDECIDED),
        (0.010, {"fall_s": 0.0}, Result.PASS),  # one sharp edge shows that it can follow
        (0.010, {"per_row": 8}, Result.PASS),  # bins have their extremes
        (0.0, {"row_s": 0.0009}, Result.PASS),
        (0.010, {"row_s": 0.0009}, Result.UNDECIDED),
        (0.010, {"level_v": 25.0}, Result.UNDECIDED),
        (0.0, {"later": 1.2}, Result.PASS),  # 14.4 V while it is charged is no reason to wait for 13 V after ON
        (0.0018, {"later": 1.2}, Result.UNDECIDED),
    ],
)
def test_an_edge_shows_how_fast_the_readings_follow(rise_s: float, more: dict[str, Any], result: Result) -> None:
    found = edges_of(rise_s, **more)
    assert found.result is result
    assert ("it was smoothed, or resampled" in found.reason) is (result is Result.UNDECIDED)


def test_how_long_the_edge_takes_is_told() -> None:
    assert "takes 10.1 ms to come on" in edges_of(0.010).reason


def test_a_feed_that_never_comes_on_has_no_edge() -> None:
    count = 8000
    trace = {"conversions": np.ones(count, dtype=np.int64), "gap_s": np.full(count, 0.0005)}
    for level_v in (0.0, 12.0):
        view = plain_view(
            bin_s=0.0005, battery=np.full(count, 12.0), key_switch=np.full(count, level_v), cranks=(), trace=trace
        )
        assert sampled_finely(view).result is Result.PASS
