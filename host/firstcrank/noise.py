"""Noise and resolution of a logger's channel, from its own readings: what a data sheet's accuracy does not hold."""

from __future__ import annotations

import math

import numpy as np

from firstcrank.trace import FloatArray, Uncertainty

WINDOW = 32  # readings in which noise is looked at: short, so that what the vehicle does is nearly straight in some of them
MOST_WINDOWS = 4_000
LIVE_V = 1.0  # a lead that carries nothing reads a constant and shows nothing of the noise
QUIET_SHARE = 0.25  # the quietest quarter of the windows: ripple and edges are in the others
MOST_READINGS = 65_536  # of a channel, for the resolution
LEAST_LEVELS = 8  # fewer different readings show no step
FINEST_V = 1e-5  # finer than the noise of any logger that takes a vehicle's voltages: rounding of text, not a step


def logger_uncertainty(volts: FloatArray, gain_rel: float, offset_v: float) -> Uncertainty:
    """Standard uncertainties of a channel: the logger's limits given as such, its resolution and its noise.

    The resolution q is rectangular, u = q / sqrt(12) (JCGM 100 F.2.2.1). It does not average out on a quiet lead, so it is with
    the offset and not with the noise.
    """
    step_v = resolution_v(volts)
    return Uncertainty(gain_rel=gain_rel, offset_v=math.hypot(offset_v, step_v / math.sqrt(12.0)), noise_v=noise_v(volts))


def noise_v(volts: FloatArray) -> float:
    """Standard deviation of one reading, volts, from second differences (their variance is 6 sigma^2 for white noise).

    Of windows of WINDOW readings with the lead live, the value that the quietest quarter stays below. 0 for too few readings.
    Ripple that is fast against the sampling reads as noise: too much then, never too little.
    """
    windows = live_windows(volts)
    if not len(windows):
        return 0.0
    return float(np.quantile(np.sqrt(np.mean(np.square(np.diff(windows, n=2, axis=1)), axis=1) / 6.0), QUIET_SHARE))


def live_windows(volts: FloatArray) -> FloatArray:
    """Windows spread over a channel, shape (m, WINDOW): those in which the lead is live, all where it never is."""
    count = len(volts) // WINDOW
    if count == 0:
        return np.zeros((0, WINDOW))
    windows = volts[: count * WINDOW].reshape(count, WINDOW)[:: max(count // MOST_WINDOWS, 1)]
    live = np.abs(windows).min(axis=1) > LIVE_V
    return windows[live] if live.any() else windows


def resolution_v(volts: FloatArray) -> float:
    """The step of the readings, volts; 0 where there are too few different ones, or they lie on no ladder of even steps."""
    values = np.unique(volts[:: max(len(volts) // MOST_READINGS, 1)])
    if len(values) < LEAST_LEVELS:
        return 0.0
    steps = np.diff(values)
    steps = steps[steps > FINEST_V]
    if len(steps) < LEAST_LEVELS - 1:
        return 0.0
    one_v = float(np.quantile(steps, 0.25, method="lower"))
    ratio = steps / one_v
    even = (np.abs(ratio - np.round(ratio)) < 0.3) & (ratio > 0.7)
    return one_v if float(even.mean()) > 0.85 else 0.0
