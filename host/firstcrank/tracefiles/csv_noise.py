"""Noise and resolution of a logger's channel, from its own readings: what a data sheet's accuracy does not hold."""

from __future__ import annotations

import math

import numpy as np

from firstcrank.trace import FloatArray, Uncertainty

WINDOW = 32  # readings in which noise is looked at: short, so that what the vehicle does is nearly straight in some of them
MOST_WINDOWS = 4_000
LIVE_V = 1.0  # a lead that carries nothing reads a constant and shows nothing of the noise
QUIET_SHARE = 0.25  # the quietest quarter of the windows: ripple and edges are in the others
MOST_STEPS = 65_536  # of a channel's readings for the resolution


def logger_uncertainty(volts: FloatArray, gain_rel: float, offset_v: float) -> Uncertainty:
    """Standard uncertainties of a channel: the logger's limits given as such, its resolution and its noise.

    The resolution q is rectangular, u = q / sqrt(12) (JCGM 100 F.2.2.1). It does not average out on a quiet lead, so it is with
    the offset and not with the noise.
    """
    return Uncertainty(
        gain_rel=gain_rel, offset_v=math.hypot(offset_v, resolution_v(volts) / math.sqrt(12.0)), noise_v=noise_v(volts)
    )


def noise_v(volts: FloatArray) -> float:
    """Standard deviation of one reading, volts, from second differences (their variance is 6 sigma^2 for white noise).

    Of windows of WINDOW readings with the lead live, the value that the quietest quarter stays below. 0 for too few readings.
    Ripple that is fast against the sampling reads as noise: too much then, never too little.
    """
    count = len(volts) // WINDOW
    if count == 0:
        return 0.0
    step = max(count // MOST_WINDOWS, 1)
    windows = volts[: count * WINDOW].reshape(count, WINDOW)[::step]
    bent = np.diff(windows, n=2, axis=1)
    each_v = np.sqrt(np.mean(np.square(bent), axis=1) / 6.0)
    live = np.abs(windows.mean(axis=1)) > LIVE_V
    chosen = each_v[live] if live.any() else each_v
    return float(np.quantile(chosen, QUIET_SHARE))


def resolution_v(volts: FloatArray) -> float:
    """The step of the readings, volts: the smallest difference of two of them, leaving out what is only rounding of text.

    0 where they are finer than can be told.
    """
    values = np.unique(volts[:: max(len(volts) // MOST_STEPS, 1)])
    if len(values) < 3:
        return 0.0
    steps = np.diff(values)
    return float(np.quantile(steps, 0.05))
