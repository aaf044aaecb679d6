"""Harness watch: every planted dropout counted and none invented, memory that does not grow, the battery's limits."""

from __future__ import annotations

import re
import resource
from pathlib import Path

import numpy as np
import pytest

from firstcrank.visit.harness_watch import (
    MOST_KEPT,
    UNNAMED,
    HarnessWatch,
    finish,
    name_place,
    ranked,
    watch_step,
)

from .terminal import finished, plain, run_at

BIN_S = 0.768e-3
FRAME = 128


def watched(
    hours: float,
    losses_s: list[tuple[float, float]],
    battery_v: float = 12.6,
    places: tuple[tuple[float, str], ...] = (),
    supported: bool = False,
    scale: float = 1.0,
) -> HarnessWatch:
    """Frames of 98 ms as a board sends them; 12.3 V of feed with 20 mV of noise, 0 V in the losses."""
    watch = HarnessWatch(limit_v=7.0, live_v=5.0, scale=scale, supported=supported)
    frame_s = FRAME * BIN_S
    rng = np.random.default_rng(5)
    quiet = 12.3 + rng.normal(0.0, 0.02, FRAME)
    battery = np.full(FRAME, battery_v)
    offsets = np.arange(FRAME, dtype=np.float64) * BIN_S
    pending, named = list(losses_s), list(places)
    for number in range(int(hours * 3600 / frame_s)):
        at_s = number * frame_s
        while named and named[0][0] <= at_s:
            watch = name_place(watch, named.pop(0)[1])
        start_s = at_s + offsets
        lowest = quiet
        if pending and pending[0][0] < at_s + frame_s:
            lowest = quiet.copy()
            for began_s, seconds in pending[:3]:
                lowest[(start_s + BIN_S > began_s) & (start_s < began_s + seconds)] = 0.0
            while pending and pending[0][0] + pending[0][1] < at_s + frame_s:
                pending.pop(0)
        watch = watch_step(watch, start_s, start_s + BIN_S, battery, lowest, lowest)
        if watch.stopped:
            break
    return finish(watch)


def planted(count: int, seconds: float) -> list[tuple[float, float]]:
    rng = np.random.default_rng(7)
    at = np.sort(rng.uniform(2.0, seconds - 2.0, count))
    at += np.arange(count) * 0.2  # two of them never closer than a bounce
    return [(float(a), float(10 ** rng.uniform(-3.0, -1.2))) for a in at]


@pytest.mark.slow
def test_eight_hours_with_500_dropouts_all_found_and_none_invented_in_constant_memory() -> None:
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    watch = watched(8.0, planted(500, 8 * 3600.0 - 120.0))
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb
    assert watch.count == 500
    assert watch.watched_s == pytest.approx(8 * 3600.0, abs=1.0)
    assert grown_kb < 20_000
    assert sum(place.count for place in watch.places.values()) == 500
    assert all(len(place.losses) <= MOST_KEPT for place in watch.places.values())


def test_an_hour_without_a_loss_shows_none() -> None:
    watch = watched(0.25, [])
    assert watch.count == 0
    assert not watch.places


def test_losses_across_frames_are_one_and_bounces_belong_together() -> None:
    frame_s = FRAME * BIN_S
    watch = watched(0.01, [(5 * frame_s - 0.01, 0.05), (10.0, 0.002), (10.01, 0.002), (12.0, 0.002)])
    assert watch.count == 3
    longest = ranked(watch)[0][1].longest_s
    assert longest == pytest.approx(0.05, abs=2 * BIN_S)


def test_places_are_ranked_by_how_often_the_feed_was_lost_there() -> None:
    losses = [(5.0, 0.01), (21.0, 0.02), (22.0, 0.005), (23.0, 0.03)]
    watch = watched(0.012, losses, places=((0.0, "fuse holder"), (20.0, "bulkhead plug")))
    assert [(name, place.count) for name, place in ranked(watch)] == [("bulkhead plug", 3), ("fuse holder", 1)]
    assert ranked(watch)[0][1].losses[0].at_s == pytest.approx(23.0, abs=0.01)
    assert UNNAMED not in watch.places


@pytest.mark.parametrize(
    ("battery_v", "supported", "scale", "warned", "stopped"),
    [
        (12.5, False, 1.0, False, False),
        (12.15, False, 1.0, True, False),
        (11.9, False, 1.0, True, True),
        (11.9, True, 1.0, False, False),
        (24.3, False, 2.0, True, False),
        (23.9, False, 2.0, True, True),
    ],
)
def test_the_battery_warns_and_stops(battery_v: float, supported: bool, scale: float, warned: bool, stopped: bool) -> None:
    watch = watched(0.002, [], battery_v=battery_v, supported=supported, scale=scale)
    assert watch.warned == warned
    assert bool(watch.stopped) == stopped


def test_nothing_counts_before_the_key_is_on() -> None:
    watch = HarnessWatch(limit_v=7.0, live_v=5.0)
    start_s = np.arange(FRAME, dtype=np.float64) * BIN_S
    off = np.zeros(FRAME)
    watch = watch_step(watch, start_s, start_s + BIN_S, np.full(FRAME, 12.5), off, off)
    assert watch.count == 0
    assert not watch.on


@pytest.mark.parametrize("port", ["sim:moved_harness", pytest.param("sim:moved_harness,system=24", marks=pytest.mark.slow)])
def test_watch_at_a_terminal_counts_names_and_ranks(tmp_path: Path, port: str) -> None:
    program = run_at(tmp_path, "watch", "--port", port, "--for", "28", "--place", "fuse holder", "--csv", "w.csv")
    code, output = finished(program)
    assert code == 1, plain(output)[-1500:]
    assert "5 dropouts" in plain(output)
    assert "fuse holder" in plain(output)
    assert output.count("\x07") >= 5
    assert len((tmp_path / "w.csv").read_text().splitlines()) == 6


@pytest.mark.parametrize(
    ("port", "below"),
    [pytest.param("sim:sinking_battery", 12.0, marks=pytest.mark.slow), ("sim:sinking_battery,system=24", 24.0)],
)
def test_a_sinking_battery_ends_the_watch(tmp_path: Path, port: str, below: float) -> None:
    code, output = finished(run_at(tmp_path, "watch", "--port", port, "--for", "60"))
    assert code == 3
    found = re.search(r"battery at ([0-9.]+) V: key off, or it may not crank any more", plain(output))
    assert found is not None
    assert below - 0.25 < float(found[1]) < below


@pytest.mark.parametrize("port", ["sim:healthy", "sim:healthy_24v"])
def test_live_values_go_to_csv(tmp_path: Path, port: str) -> None:
    code, output = finished(run_at(tmp_path, "live", "--port", port, "--for", "2", "--csv", "v.csv"))
    assert code == 0, plain(output)[-1500:]
    lines = (tmp_path / "v.csv").read_text().splitlines()
    assert lines[0].startswith("time_s,battery_v")
    assert len(lines) > 5
