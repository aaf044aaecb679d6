"""Lies of a logger's file are found; honest loggers of 200 Hz to 20 kHz, 10 to 16 bits, quiet or noisy, on sound or faulty
vehicles are not accused. FIRSTCRANK_HONEST=600 draws that many honest starts."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from firstcrank.analysis.plausibility import find_implausible
from firstcrank.noise import logger_uncertainty, noise_v, resolution_v
from firstcrank.tracefiles.csv import read_csv
from firstcrank.tracefiles.native import from_bytes

from .logger_starts import LIES, Start, honest, trace_of
from .sim_recording import recorded

HONEST = int(os.environ.get("FIRSTCRANK_HONEST", "80"))


@pytest.mark.parametrize("part", range(4))
def test_no_honest_logger_is_accused(part: int) -> None:
    for seed in range(part, HONEST, 4):
        found = find_implausible(trace_of(honest(seed)))
        assert found == (), (seed, found)


@pytest.mark.parametrize("rate_hz", [200.0, 20_000.0])
@pytest.mark.parametrize("fault", ["none", "dead in start", "dropouts", "chatter", "bad contact", "never on"])
def test_no_honest_logger_is_accused_at_either_end_of_the_rates(rate_hz: float, fault: str) -> None:
    for seed in (5001, 5002):
        for digits in (2, 4):
            found = find_implausible(trace_of(honest(seed, rate_hz, fault, digits)))
            assert found == (), (seed, digits, found)


@pytest.mark.parametrize(
    ("name", "least"), [(name, 18 if name == "clipped" else 12 if name == "on the post" else 20) for name in LIES]
)
def test_lies_are_found(name: str, least: int) -> None:
    """Of twenty. Clips are missed where the sag is nearly as small as the steps, a lead on the post at 10 bits."""
    lie, kind = LIES[name]
    found = 0
    for seed in range(20):
        start = lie(honest(10_000 + seed, fault="none"), np.random.default_rng(seed))
        seen = find_implausible(trace_of(start))
        found += any(one.kind == kind for one in seen)
        assert all(one.line and one.start_s < one.end_s for one in seen)
    assert found >= least


def written(path: Path, start: Start) -> Path:
    names = ["t_s", *(f"{role}_v" for role in start.volts)]
    table = np.column_stack([start.t_s, *start.volts.values()])
    np.savetxt(path, table, fmt="%.6f", delimiter=",", header=",".join(names), comments="")
    return path


def test_a_frozen_lead_is_placed(tmp_path: Path) -> None:
    start = honest(10_003, 1000.0, "none")
    lie, _ = LIES["frozen"]
    false = lie(start, np.random.default_rng(3))
    (found,) = find_implausible(read_csv(written(tmp_path / "x.csv", false)).trace)
    assert found.role == "key_switch"
    same = np.flatnonzero(np.diff(false.volts["key_switch"]) == 0.0)
    assert found.start_s == pytest.approx(start.crank[0] - 0.2, abs=0.2)
    assert found.end_s <= float(start.t_s[same[-1]]) + 0.01
    assert "without any change" in found.line


def test_bins_and_short_files_are_not_asked() -> None:
    assert find_implausible(from_bytes(recorded("healthy")).trace) == ()
    start = honest(1, 1000.0)
    short = Start(start.t_s[:100], {r: v[:100] for r, v in start.volts.items()}, 1000.0, "", 0.01, (0.0, 0.0))
    assert find_implausible(trace_of(short)) == ()


def test_a_separate_battery_for_the_feed_stands_still_honestly() -> None:
    """The feed follows its own source, and that lead is there to show it."""
    start = honest(10_001, 1000.0, "none")
    steady = np.where(start.volts["key_switch"] > 5.0, 12.4, 0.0)
    volts = {**start.volts, "key_switch": steady, "feed_source": np.full(len(start.t_s), 12.41)}
    apart = Start(start.t_s, volts, start.rate_hz, start.fault, start.step_v, start.crank)
    assert find_implausible(trace_of(apart)) == ()


@pytest.mark.parametrize("sigma_v", [0.0005, 0.004, 0.03])
@pytest.mark.parametrize("step_v", [0.0, 0.001, 0.005])
def test_noise_is_estimated_within_a_third(sigma_v: float, step_v: float) -> None:
    """Against what was put in: white noise and the quantisation's own q / sqrt(12) (JCGM 100 F.2.2.1).

    Noise well below the step may not show in any reading: then the resolution covers it.
    """
    rng = np.random.default_rng(9)
    volts = 12.3 + 0.05 * np.sin(np.arange(40_000) / 500.0) + rng.normal(0.0, sigma_v, 40_000)
    if step_v:
        volts = np.round(volts / step_v) * step_v
    expected_v = float(np.hypot(sigma_v, step_v / np.sqrt(12.0)))
    if step_v > 4.0 * sigma_v:
        assert noise_v(volts) <= 1.34 * expected_v
        assert logger_uncertainty(volts, 0.0, 0.0).offset_v > 2.0 * sigma_v
    else:
        assert noise_v(volts) == pytest.approx(expected_v, rel=0.34)


@pytest.mark.parametrize(
    ("step_v", "places"), [(20 / 4096, 3), (20 / 4096, 6), (0.01, 2), (20 / 256, 4), (40 / 1024, 3), (20 / 65536, 6)]
)
def test_the_step_is_found(step_v: float, places: int) -> None:
    rng = np.random.default_rng(2)
    volts = 12.0 + np.sin(np.arange(30_000) / 900.0) + rng.normal(0.0, 0.6 * step_v, 30_000)
    assert resolution_v(np.round(np.round(volts / step_v) * step_v, places)) == pytest.approx(step_v, rel=0.25)


@pytest.mark.parametrize("values", [[0.0, 12.0], [0.0, 5.0, 12.3], [12.0], list(np.linspace(0.0, 12.0, 5))])
def test_few_different_readings_show_no_step(values: list[float]) -> None:
    assert resolution_v(np.tile(np.asarray(values), 500)) == 0.0


def test_random_readings_show_no_step_and_the_resolution_widens_the_offset() -> None:
    rng = np.random.default_rng(3)
    assert resolution_v(12.0 + rng.normal(0.0, 0.01, 50_000)) == 0.0
    coarse = np.round((12.0 + rng.normal(0.0, 0.3, 5_000)) / 0.08) * 0.08
    assert logger_uncertainty(coarse, 0.0, 0.0).offset_v == pytest.approx(0.08 / np.sqrt(12.0), rel=0.01)
