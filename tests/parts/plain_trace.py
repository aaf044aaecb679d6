"""Traces whose every bin a test writes down: bins of one length, no noise, no gaps."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from firstcrank.trace import Channel, FloatArray, Hole, Trace, Uncertainty

BIN_S = 1.0 / 512.0  # sums of it are exact
EXACT = Uncertainty(0.0, 0.0)


def flat(seconds: float, volts: float, bin_s: float = BIN_S) -> FloatArray:
    """One voltage for so long, shape (seconds / bin_s,)."""
    return np.full(round(seconds / bin_s), volts)


def put(values: FloatArray, volts: float, first: int, past: int) -> FloatArray:
    """A copy with other volts from bin `first` to before bin `past`."""
    changed = values.copy()
    changed[first:past] = volts
    return changed


def plain_trace(
    means: Mapping[str, FloatArray],
    *,
    lowest: Mapping[str, FloatArray] | None = None,
    bin_s: float = BIN_S,
    holes: tuple[Hole, ...] = (),
    complete: bool = True,
) -> Trace:
    """Bins from time 0 on. `means`: role to the mean of each bin; `lowest`: role to the lowest, where it is not the mean."""
    count = max((len(v) for v in means.values()), default=0)
    start_s = np.arange(count, dtype=np.float64) * bin_s
    return Trace(
        start_s=start_s,
        end_s=start_s + bin_s,
        conversions=np.full(count, 32, dtype=np.int64),
        gap_s=np.full(count, bin_s / 32),
        channels={role: Channel(role, v, (lowest or {}).get(role, v), v, EXACT) for role, v in means.items()},
        holes=holes,
        complete=complete,
    )
