"""Noise and resolution of a logger's channel, from its own readings: what a data sheet's accuracy does not hold."""

from __future__ import annotations

import math

import numpy as np

from firstcrank.thresholds.noise import NOISE
from firstcrank.trace import FloatArray, Uncertainty


def logger_uncertainty(volts: FloatArray, gain_rel: float, offset_v: float) -> Uncertainty:
    """Standard uncertainties of a channel: the logger's limits given as such, its resolution and its noise.

    The resolution q is rectangular, u = q / sqrt(12) (JCGM 100 F.2.2.1). It does not average out on a quiet lead, so it is with
    the offset and not with the noise.
    """
    step_v = resolution_v(volts)
    return Uncertainty(gain_rel=gain_rel, offset_v=math.hypot(offset_v, step_v / math.sqrt(12.0)), noise_v=noise_v(volts))


def noise_v(volts: FloatArray) -> float:
    """Standard deviation of one reading, volts, from second differences (their variance is 6 sigma^2 for white noise).

    Of windows of NOISE.window readings with the lead live, the value that the quietest quarter stays below. 0 for too few readings.
    Ripple that is fast against the sampling reads as noise: too much then, never too little.
    """
    windows = live_windows(volts)
    if not len(windows):
        return 0.0
    return float(np.quantile(np.sqrt(np.mean(np.square(np.diff(windows, n=2, axis=1)), axis=1) / 6.0), NOISE.quiet_share))


def live_windows(volts: FloatArray) -> FloatArray:
    """Windows spread over a channel, shape (m, NOISE.window): those in which the lead is live, all where it never is."""
    count = len(volts) // NOISE.window
    if count == 0:
        return np.zeros((0, NOISE.window))
    windows = volts[: count * NOISE.window].reshape(count, NOISE.window)[:: max(count // NOISE.most_windows, 1)]
    live = np.abs(windows).min(axis=1) > NOISE.live_v
    return windows[live] if live.any() else windows


def resolution_v(volts: FloatArray) -> float:
    """The step of the readings, volts; 0 where there are too few different ones, or they lie on no ladder of even steps."""
    values = np.unique(volts[:: max(len(volts) // NOISE.most_readings, 1)])
    if len(values) < NOISE.least_levels:
        return 0.0
    steps = np.diff(values)
    steps = steps[steps > NOISE.finest_v]
    if len(steps) < NOISE.least_levels - 1:
        return 0.0
    one_v = float(np.quantile(steps, NOISE.step_quantile, method="lower"))
    ratio = steps / one_v
    even = (np.abs(ratio - np.round(ratio)) < NOISE.even_within) & (ratio > NOISE.even_from)
    return one_v if float(even.mean()) > NOISE.even_share else 0.0
