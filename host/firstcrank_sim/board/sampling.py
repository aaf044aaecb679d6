"""Bins of a whole start at little cost: conversion by conversion where anything steps, by drawn blocks where all is quiet.

In a quiet bin the voltage runs nearly straight, so a block of samples // 8 neighbouring conversions is one voltage plus noise:
its mean, lowest and highest noise are taken from a pool of blocks really drawn. A test holds both ways against each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import erf

from firstcrank.calibration import CODES
from firstcrank.trace import FloatArray, IntArray
from firstcrank_sim.board.converter import Converter
from firstcrank_sim.board.fold_many import Bins, fold_many, runs_below
from firstcrank_sim.vehicle.truth import Truth

CONVERSION_S = 2e-6  # RP2040: 96 cycles of 48 MHz, datasheet section 4.9
BLOCKS = 8
POOL = 1 << 15
BEFORE_S, BEHIND_S = 1e-4, 1.2e-3  # round a step, taken conversion by conversion
NEAR_CODES = 12.0  # a feed this near the trigger likewise


@dataclass(frozen=True, slots=True)
class Sampled:
    """`samples` conversions per channel and bin, `step_s` between two of one channel."""

    folded: Bins
    samples_per_bin: int
    step_s: float


@lru_cache(maxsize=16)
def _pool(size: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, lowest and highest of POOL blocks of `size` standard normal draws."""
    drawn = np.random.default_rng(size).standard_normal((POOL, size))
    return drawn.mean(axis=1), drawn.min(axis=1), drawn.max(axis=1)


def sample(
    truth: Truth,
    converter: Converter,
    trigger_code: int,
    rng: np.random.Generator,
    bin_s: float,
    conversion_s: float = CONVERSION_S,
    every: bool = False,
) -> Sampled:
    """Folds the whole start. `every`: each single conversion in every bin."""
    roles = truth.roles
    step_s = conversion_s * len(roles)
    samples_per_bin = max(round(bin_s / step_s / BLOCKS), 1) * BLOCKS
    count = int(truth.end_s / (samples_per_bin * step_s))
    quiet = _quiet(truth, converter, roles, count, samples_per_bin, step_s, conversion_s, rng)
    exact_key, mean, lowest, highest = quiet
    active = np.ones(count, dtype=bool) if every else _active(truth, roles, count, samples_per_bin * step_s)
    near = np.abs(exact_key - trigger_code).min(axis=1) < NEAR_CODES
    crossing = (exact_key.min(axis=1) < trigger_code) & (exact_key.max(axis=1) > trigger_code)
    active |= near | crossing
    full = np.where(exact_key.max(axis=1) < trigger_code, samples_per_bin, 0).astype(np.int64)
    longest, head, tail = full.copy(), full.copy(), full.copy()
    for first, past in _groups(active):
        bins = _one_by_one(truth, converter, roles, first, past, samples_per_bin, step_s, conversion_s, trigger_code, rng)
        part = slice(first, past)
        mean[part], lowest[part], highest[part] = bins.mean, bins.lowest, bins.highest
        longest[part], head[part], tail[part] = bins.longest, bins.head, bins.tail
    return Sampled(Bins(mean, lowest, highest, longest, head, tail), samples_per_bin, step_s)


def _active(truth: Truth, roles: tuple[str, ...], count: int, span_s: float) -> FloatArray:
    active = np.zeros(count + 1, dtype=bool)
    for role in roles:
        for edge_s in truth.edges_s(role).tolist():
            first, last = int((edge_s - BEFORE_S) / span_s), int((edge_s + BEHIND_S) / span_s)
            active[max(first, 0) : last + 1] = True
    return active[:count]


def _groups(active: FloatArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], active.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _quiet(
    truth: Truth,
    converter: Converter,
    roles: tuple[str, ...],
    count: int,
    samples_per_bin: int,
    step_s: float,
    conversion_s: float,
    rng: np.random.Generator,
) -> tuple[FloatArray, IntArray, IntArray, IntArray]:
    """Key feed's exact codes per block, then mean, lowest and highest of every bin and channel, all bins taken as quiet."""
    per_block = samples_per_bin // BLOCKS
    middle_s = (np.arange(count * BLOCKS) + 0.5) * (per_block * step_s) - step_s / 2
    pool_mean, pool_low, pool_high = _pool(per_block)
    shape = (count, len(roles))
    mean, lowest, highest = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    exact_key = np.zeros((count, BLOCKS))
    for n, role in enumerate(roles):
        line = converter.calibration.channel(role)
        volts = truth.volts(role, np.asarray(middle_s + n * conversion_s - line.filter_s))
        noise_v = line.gain_v_per_code * converter.noise_code
        pick = rng.integers(0, POOL, len(middle_s))
        centre = converter.exact(role, volts + noise_v * pool_mean[pick])
        low = converter.exact(role, volts + noise_v * pool_low[pick]).reshape(count, BLOCKS).min(axis=1)
        high = converter.exact(role, volts + noise_v * pool_high[pick]).reshape(count, BLOCKS).max(axis=1)
        centre = _held(centre, converter.noise_code).reshape(count, BLOCKS).mean(axis=1)
        mean[:, n] = np.rint(centre * 16.0)
        lowest[:, n] = np.clip(np.rint(low), 0, CODES - 1)
        highest[:, n] = np.clip(np.rint(high), 0, CODES - 1)
        if role == "key_switch":
            exact_key = converter.exact(role, volts).reshape(count, BLOCKS)
    return exact_key, mean, lowest, highest


def _held(code: FloatArray, sigma: float) -> FloatArray:
    """Mean of codes that cannot go below 0 or above the top: E[max(0, x + noise)] near zero, cut at the top."""
    near = code < 5.0 * sigma
    held = code.copy()
    x = np.maximum(code[near], -40.0 * sigma) / sigma
    held[near] = sigma * (x * 0.5 * (1.0 + erf(x / np.sqrt(2.0))) + np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi))
    return np.minimum(held, CODES - 1.0)


def _one_by_one(
    truth: Truth,
    converter: Converter,
    roles: tuple[str, ...],
    first: int,
    past: int,
    samples_per_bin: int,
    step_s: float,
    conversion_s: float,
    trigger_code: int,
    rng: np.random.Generator,
) -> Bins:
    """Bins `first` to `past` from every single conversion, the filter settled on what came before."""
    warm = min(samples_per_bin, first * samples_per_bin)
    index = np.arange(first * samples_per_bin - warm, past * samples_per_bin)
    columns = []
    for n, role in enumerate(roles):
        t = np.asarray(index * step_s + n * conversion_s, dtype=np.float64)
        columns.append(converter.codes(role, truth.volts(role, t), step_s, rng)[warm:])
    return fold_many(np.stack(columns, axis=1), samples_per_bin, roles.index("key_switch"), trigger_code)


__all__ = ("CONVERSION_S", "Sampled", "runs_below", "sample")
