"""Readings that stand still for longer than their own noise allows: a lead that froze, or a ceiling that cuts it off.

White noise of sigma steps of the converter lets n readings in a row be the same, at best in the middle of a step, with a
probability of (1 - 2 Q(0.5 / sigma)) ** n, Q the normal distribution's tail. Noise is measured where the lead is quietest and
still moves, by second differences: their mean square is 6 (sigma ** 2 + 1 / 12) where the noise dithers the steps (the factor is
1 + 4 + 1; 1 / 12 is the quantisation's). Less noise than LEAST_SIGMA proves nothing: a quiet lead between two steps flips and
looks like 0.4. Nor do steps coarser than COARSEST_V: a vehicle at rest may be quieter than these, and noisy all the rest.
"""

from __future__ import annotations

from math import ceil, erf, erfc, inf, log, sqrt

import numpy as np

from firstcrank.noise import LIVE_V
from firstcrank.trace import FloatArray

WINDOW = 50  # rows in which noise is measured
LEAST_SIGMA = 0.5  # steps
COARSEST_V = 0.005  # 14 bits over 50 V are 3 mV; a converter's own noise is no less
LEAST_WINDOWS = 10
QUIETEST = 0.05  # quantile of the windows
UNLIKELY = 1e-11
MOST_LINES = 0.3  # of the windows of a lead of which a part was filled in
ALONE_WINDOWS = 4
ALONE_ELSEWHERE = 0.02  # of noisy windows


def stand_still(volts: FloatArray, step_v: float, scale: float = 1.0, most_v: float = inf) -> list[tuple[int, int]]:
    """First row and the row past the last of every standstill of a live lead (m,) in volts. `scale`: 2 for a 24 V system.

    `most_v`: it has no more noise than this when all is quiet, volts. A lead that is live only while cranking never shows it itself.
    """
    if not 0.0 < step_v <= COARSEST_V * scale or len(volts) < LEAST_WINDOWS * WINDOW:
        return []
    sigma = min(quietest_sigma(volts / step_v, LIVE_V * scale / step_v), most_v / step_v)
    if sigma < LEAST_SIGMA:
        return []
    same = 1.0 - erfc(0.5 / sigma / sqrt(2.0))
    least = ceil(log(UNLIKELY) / log(same)) if same < 1.0 else len(volts)
    edges = np.flatnonzero(np.diff(volts) != 0.0) + 1
    firsts, pasts = np.concatenate(([0], edges)), np.concatenate((edges, [len(volts)]))
    long = (pasts - firsts >= least) & (np.abs(volts[firsts]) > LIVE_V * scale)
    return [(int(a), int(b)) for a, b in zip(firsts[long], pasts[long], strict=True)]


def straight_runs(volts: FloatArray, step_v: float, scale: float = 1.0) -> list[tuple[int, int]]:
    """First row and the row past the last of every straight line, sloping or not, that a live lead (m,) draws without its noise.

    A second difference of noise has sqrt(6) of its sigma and is seldom within one step; on a line it always is. Neighbours hang
    together, so twice as many in a row are asked for as chance alone would take.
    """
    if not 0.0 < step_v <= COARSEST_V * scale or len(volts) < LEAST_WINDOWS * WINDOW:
        return []
    steps = np.round(volts / step_v)
    sigma = _sigma_beside_lines(steps, LIVE_V * scale / step_v)
    if sigma < LEAST_SIGMA:
        return []
    bend = sqrt(6.0 * (sigma**2 + 1.0 / 12.0))
    least = 2 * ceil(log(UNLIKELY) / log(erf(1.5 / bend / sqrt(2.0))))
    straight = np.concatenate(([0], (np.abs(np.diff(steps, n=2)) <= 1.0).astype(np.int8), [0]))
    edges = np.flatnonzero(np.diff(straight)).reshape(-1, 2)
    long = edges[edges[:, 1] - edges[:, 0] >= least]
    return [(a, b + 2) for a, b in long.tolist() if float(np.abs(volts[a : b + 2]).min()) > LIVE_V * scale]


def _sigma_beside_lines(steps: FloatArray, live: float) -> float:
    """As quietest_sigma of the windows that are no lines; 0 where many are: a quiet lead that slopes, and nothing was filled in."""
    count = len(steps) // WINDOW
    windows = steps[: count * WINDOW].reshape(count, WINDOW)
    windows = windows[np.abs(windows).min(axis=1) > live]
    lines = (np.abs(np.diff(windows, n=2, axis=1)) <= 1.0).all(axis=1)
    return 0.0 if not len(windows) or lines.mean() > MOST_LINES else quietest_sigma(windows[~lines].ravel(), live)


def quietest_sigma(steps: FloatArray, live: float) -> float:
    """Noise in steps of the converter where a live lead, in steps (m,), is quietest and moves; 0 where too little of it does."""
    count = len(steps) // WINDOW
    windows = steps[: count * WINDOW].reshape(count, WINDOW)
    moving = windows[(np.abs(windows).min(axis=1) > live) & (np.ptp(windows, axis=1) > 0.5)]
    if len(moving) < LEAST_WINDOWS:
        return 0.0
    square = np.square(np.diff(moving, n=2, axis=1)).mean(axis=1)
    return float(sqrt(max(float(np.quantile(square, QUIETEST)) / 6.0 - 1.0 / 12.0, 0.0)))


def stands_alone(volts: FloatArray, step_v: float, beside: FloatArray, beside_step_v: float) -> tuple[int, int] | None:
    """The longest standstill of one live lead (m,) while the lead beside it (m,) shows noise that it had shared elsewhere.

    For steps of any size: the vehicle's noise is on both leads, so a lead that stirred in nearly every window in which the other
    was noisy, and now does not in several, no longer reads. Windows that move by more than noise (cranks, ramps) tell nothing.
    """
    count = len(volts) // WINDOW
    if step_v <= 0.0 or beside_step_v <= 0.0 or count < LEAST_WINDOWS:
        return None
    one, two = (v[: count * WINDOW].reshape(count, WINDOW) for v in (volts, beside))
    live = (np.abs(one).min(axis=1) > LIVE_V) & (np.abs(two).min(axis=1) > LIVE_V)
    range_steps = np.ptp(two, axis=1) / beside_step_v
    noisy = live & (range_steps > 1.5) & (range_steps < 8.5)  # three readings at least: between two steps there are only two
    still = np.ptp(one, axis=1) == 0.0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(np.int8), [0]))))
    runs = [
        (first, past)
        for first, past in edges.reshape(-1, 2).tolist()
        if np.ptp(volts[first * WINDOW : past * WINDOW]) == 0.0 and noisy[first:past].sum() >= ALONE_WINDOWS
    ]
    best = max(runs, key=lambda run: run[1] - run[0], default=None)
    if best is None:
        return None
    elsewhere = noisy.copy()
    elsewhere[best[0] : best[1]] = False
    if elsewhere.sum() < 2 * LEAST_WINDOWS or still[elsewhere].mean() > ALONE_ELSEWHERE:
        return None
    return best[0] * WINDOW, best[1] * WINDOW
