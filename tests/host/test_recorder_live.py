"""What the user is told while recording, and that recording stops by itself at the right time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firstcrank.analysis.leads import check_leads
from firstcrank.analysis.live import LiveTracker
from firstcrank.errors import BoardRefusedError
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import from_bytes

from .sim_recording import make, recorded, watched

BIN_S = 0.768e-3


@pytest.mark.parametrize(
    ("name", "states"),
    [
        ("healthy", ["key off?", "key off seen", "key on", "cranking", "released", "done"]),
        ("feed_dead_in_start", ["key off?", "key off seen", "key on", "cranking", "released", "done"]),
        ("runs_on", ["key off?", "key off seen", "key on", "cranking", "released", "done"]),
        ("fuse_out", ["key off?", "key off seen", "cranking", "released", "done"]),
    ],
)
def test_the_start_is_followed_and_ends_by_itself(name: str, states: list[str]) -> None:
    data, observer = watched(name)
    assert observer.states == states
    assert observer.why == "the release was watched"
    assert from_bytes(data).trace.complete


def test_an_engine_that_runs_on_is_watched_longer() -> None:
    def after_release_s(name: str) -> float:
        trace = from_bytes(recorded(name)).trace
        coil = np.flatnonzero(trace.channels["starter_coil"].mean_v > 4.0)
        return float(trace.end_s[-1] - trace.end_s[coil[-1]])

    assert after_release_s("healthy") == pytest.approx(2.3, abs=0.4)
    assert after_release_s("runs_on") >= 5.0


@pytest.mark.parametrize(
    ("name", "expected"), [("leads_exchanged", "exchanged"), ("both_on_battery", "both leads on one point"), ("healthy", "")]
)
def test_leads_are_looked_at_before_the_crank(name: str, expected: str) -> None:
    first = " ".join(watched(name)[1].messages[0])
    assert expected in first if expected else first == ""


@pytest.mark.parametrize(
    ("battery_v", "key_v", "key_is_off", "system_v", "expected"),
    [
        (12.5, 0.0, True, 12, None),
        (12.5, 12.3, False, 12, None),
        (0.1, 12.4, True, 12, "exchanged"),
        (0.1, 0.0, True, 12, "positive post"),
        (12.5, 12.49, True, 12, "both leads on one point"),
        (12.5, 6.0, True, 12, "feeds it back"),
        (-12.5, 0.0, True, 12, "positive-earth"),
        (25.0, 0.0, True, 12, "use --system 24"),
        (12.5, 0.0, True, 24, "use --system 12"),
        (6.3, 0.0, True, 12, "6 V vehicle"),
    ],
)
def test_lead_check(battery_v: float, key_v: float, key_is_off: bool, system_v: int, expected: str | None) -> None:
    lines = check_leads(battery_v, key_v, shipped(system_v), key_is_off)
    assert (lines == ()) if expected is None else any(expected in line for line in lines), lines


def followed(battery_v: np.ndarray, key_v: np.ndarray) -> LiveTracker:
    """A tracker fed without a starter lead, in pieces as the link brings them."""
    tracker = LiveTracker(shipped(12))
    start_s = np.arange(len(battery_v), dtype=np.float64) * BIN_S
    for at in range(0, len(battery_v), 16):
        piece = slice(at, at + 16)
        tracker.feed(start_s[piece], start_s[piece] + BIN_S, battery_v[piece], key_v[piece], key_v[piece], None)
    return tracker


def sag(seconds: float, ripple_v: float, rate_hz: float = 8.0) -> np.ndarray:
    t = np.arange(int(seconds / BIN_S)) * BIN_S
    return np.asarray(10.5 + ripple_v * np.sin(2 * np.pi * rate_hz * t))


def level(seconds: float, volts: float) -> np.ndarray:
    return np.full(int(seconds / BIN_S), volts)


def test_without_a_starter_lead_a_heater_is_not_a_crank_and_the_crank_after_it_is() -> None:
    before = [level(1.0, 12.5), level(1.0, 12.4)]
    heater, pause = sag(3.0, 0.0), level(1.0, 12.4)
    heated = np.concatenate([*before, heater, pause])
    key = np.concatenate([level(1.0, 0.0), level(1.0, 12.3), heater, pause])
    tracker = followed(heated, key)
    assert tracker.state == "key on"
    assert tracker.crank_start_s is None
    crank, after = sag(3.0, 0.8), level(2.6, 12.4)
    tracker = followed(np.concatenate([heated, crank, after]), np.concatenate([key, crank, after]))
    assert tracker.state == "done"
    assert tracker.crank_end_s is not None
    assert tracker.crank_start_s is not None
    assert tracker.crank_end_s - tracker.crank_start_s == pytest.approx(3.0, abs=0.3)


def test_nothing_happens_while_the_key_is_not_touched() -> None:
    assert followed(level(5.0, 12.5), level(5.0, 0.0)).state == "key off seen"
    assert followed(level(5.0, 12.5), level(5.0, 12.5)).state == "key off?"


@pytest.mark.parametrize(
    ("name", "expected"), [("board_restarts", "the board started again"), ("cable_pulled", "the cable was pulled")]
)
def test_a_board_that_restarts_or_goes_ends_the_recording_and_it_is_not_complete(name: str, expected: str) -> None:
    data, observer = watched(name)
    assert expected in observer.why
    trace = from_bytes(data).trace
    assert not trace.complete
    assert any("broke off" in note and expected in note for note in trace.notes)
    assert observer.states[-1] == "cranking"


def test_a_board_that_refuses_to_start_says_why_and_leaves_no_file(tmp_path: Path) -> None:
    path = tmp_path / "start.fcr"
    with pytest.raises(BoardRefusedError, match="no acquisition called rp2_dma"):
        make("healthy", path, acquisition="rp2_dma")
    assert not path.exists()
