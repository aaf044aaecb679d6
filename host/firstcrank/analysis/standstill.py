"""Readings that stand still for longer than their own noise allows: a lead that froze, or a ceiling that cuts it off.

White noise of sigma steps of the converter lets n readings in a row be the same, at best in the middle of a step, with a
probability of (1 - 2 Q(0.5 / sigma)) ** n, Q the normal distribution's tail. Noise is measured where the lead is quietest and
still moves, by second differences: their mean square is 6 (sigma ** 2 + 1 / 12) where the noise dithers the steps (the factor is
1 + 4 + 1; 1 / 12 is the quantisation's). Less noise than PLAUSIBLE.least_sigma proves nothing: a quiet lead between two steps flips and
looks like 0.4. Nor do steps coarser than PLAUSIBLE.coarsest_v: a vehicle at rest may be quieter than these, and noisy all the rest.
"""

from __future__ import annotations

from math import ceil, erf, erfc, inf, log, sqrt

import numpy as np

from firstcrank.thresholds.noise import NOISE
from firstcrank.thresholds.plausible import PLAUSIBLE
from firstcrank.trace import FloatArray


def stand_still(volts: FloatArray, step_v: float, scale: float = 1.0, most_v: float = inf) -> list[tuple[int, int]]:
    """First row and the row past the last of every standstill of a live lead (m,) in volts. `scale`: 2 for a 24 V system.

    `most_v`: it has no more noise than this when all is quiet, volts. A lead that is live only while cranking never shows it itself.
    """
    if not 0.0 < step_v <= PLAUSIBLE.coarsest_v * scale or len(volts) < PLAUSIBLE.least_windows * PLAUSIBLE.window_rows:
        return []
    sigma = min(quietest_sigma(volts / step_v, PLAUSIBLE.live_v * scale / step_v), most_v / step_v)
    if sigma < PLAUSIBLE.least_sigma:
        return []
    same = 1.0 - erfc(0.5 / sigma / sqrt(2.0))
    least = ceil(log(PLAUSIBLE.unlikely) / log(same)) if same < 1.0 else len(volts)
    edges = np.flatnonzero(np.diff(volts) != 0.0) + 1
    firsts, pasts = np.concatenate(([0], edges)), np.concatenate((edges, [len(volts)]))
    long = (pasts - firsts >= least) & (np.abs(volts[firsts]) > PLAUSIBLE.live_v * scale)
    return [(int(a), int(b)) for a, b in zip(firsts[long], pasts[long], strict=True)]


def straight_runs(volts: FloatArray, step_v: float, scale: float = 1.0) -> list[tuple[int, int]]:
    """First row and the row past the last of every straight line, sloping or not, that a live lead (m,) draws without its noise.

    A second difference of noise has sqrt(6) of its sigma and is seldom within one step; on a line it always is. Neighbours hang
    together, so twice as many in a row are asked for as chance alone would take.
    """
    if not 0.0 < step_v <= PLAUSIBLE.coarsest_v * scale or len(volts) < PLAUSIBLE.least_windows * PLAUSIBLE.window_rows:
        return []
    steps = np.round(volts / step_v)
    sigma = _sigma_beside_lines(steps, PLAUSIBLE.live_v * scale / step_v)
    if sigma < PLAUSIBLE.least_sigma:
        return []
    bend = sqrt(6.0 * (sigma**2 + 1.0 / 12.0))
    least = 2 * ceil(log(PLAUSIBLE.unlikely) / log(erf(1.5 / bend / sqrt(2.0))))
    straight = np.concatenate(([0], (np.abs(np.diff(steps, n=2)) <= 1.0).astype(np.int8), [0]))
    edges = np.flatnonzero(np.diff(straight)).reshape(-1, 2)
    long = edges[edges[:, 1] - edges[:, 0] >= least]
    return [(a, b + 2) for a, b in long.tolist() if float(np.abs(volts[a : b + 2]).min()) > PLAUSIBLE.live_v * scale]


def _sigma_beside_lines(steps: FloatArray, live: float) -> float:
    """As quietest_sigma of the windows that are no lines; 0 where many are: a quiet lead that slopes, and nothing was filled in."""
    count = len(steps) // PLAUSIBLE.window_rows
    windows = steps[: count * PLAUSIBLE.window_rows].reshape(count, PLAUSIBLE.window_rows)
    windows = windows[np.abs(windows).min(axis=1) > live]
    lines = (np.abs(np.diff(windows, n=2, axis=1)) <= 1.0).all(axis=1)
    return 0.0 if not len(windows) or lines.mean() > PLAUSIBLE.most_lines else quietest_sigma(windows[~lines].ravel(), live)


def quietest_sigma(steps: FloatArray, live: float) -> float:
    """Noise in steps of the converter where a live lead, in steps (m,), is quietest and moves; 0 where too little of it does."""
    count = len(steps) // PLAUSIBLE.window_rows
    windows = steps[: count * PLAUSIBLE.window_rows].reshape(count, PLAUSIBLE.window_rows)
    moving = windows[(np.abs(windows).min(axis=1) > live) & (np.ptp(windows, axis=1) > 0.5)]
    if len(moving) < PLAUSIBLE.least_windows:
        return 0.0
    square = np.square(np.diff(moving, n=2, axis=1)).mean(axis=1)
    return float(sqrt(max(float(np.quantile(square, PLAUSIBLE.quietest)) / 6.0 - 1.0 / 12.0, 0.0)))


def stands_alone(volts: FloatArray, step_v: float, beside: FloatArray, beside_step_v: float) -> tuple[int, int] | None:
    """The longest standstill of one live lead (m,) while the lead beside it (m,) shows noise that it had shared elsewhere.

    For steps of any size: the vehicle's noise is on both leads, so a lead that stirred in nearly every window in which the other
    was noisy, and now does not in several, no longer reads. Windows that move by more than noise (cranks, ramps) tell nothing.
    """
    count = len(volts) // PLAUSIBLE.window_rows
    if step_v <= 0.0 or beside_step_v <= 0.0 or count < PLAUSIBLE.least_windows:
        return None
    one, two = (v[: count * PLAUSIBLE.window_rows].reshape(count, PLAUSIBLE.window_rows) for v in (volts, beside))
    live = (np.abs(one).min(axis=1) > NOISE.live_v) & (np.abs(two).min(axis=1) > NOISE.live_v)
    range_steps = np.ptp(two, axis=1) / beside_step_v
    noisy = (
        live & (range_steps > PLAUSIBLE.noise_from_steps) & (range_steps < PLAUSIBLE.noise_to_steps)
    )  # three readings at least: between two steps there are only two
    still = np.ptp(one, axis=1) == 0.0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(np.int8), [0]))))
    runs = [
        (first, past)
        for first, past in edges.reshape(-1, 2).tolist()
        if np.ptp(volts[first * PLAUSIBLE.window_rows : past * PLAUSIBLE.window_rows]) == 0.0
        and noisy[first:past].sum() >= PLAUSIBLE.alone_windows
    ]
    best = max(runs, key=lambda run: run[1] - run[0], default=None)
    if best is None:
        return None
    elsewhere = noisy.copy()
    elsewhere[best[0] : best[1]] = False
    if elsewhere.sum() < 2 * PLAUSIBLE.least_windows or still[elsewhere].mean() > PLAUSIBLE.alone_elsewhere:
        return None
    return best[0] * PLAUSIBLE.window_rows, best[1] * PLAUSIBLE.window_rows
