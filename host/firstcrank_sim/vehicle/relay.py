"""A relay in the key feed: its coil's R-L current, pull-in and drop-out with hysteresis, warm copper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from firstcrank.trace import FloatArray
from firstcrank_sim.vehicle.conductor import copper_hot_ohm
from firstcrank_sim.vehicle.waveform import Waveform

STEP_S = 0.0001


@dataclass(frozen=True, slots=True)
class Relay:
    """`coil_ohm` at 20 degC, `coil_h` henry; `operate_v` and `release_v` at 20 degC coil temperature; `coil_c` its temperature.

    `suppression`: "none", "diode" or "resistor" (`resistor_ohm` across the coil): how the current dies when the key lets go.
    """

    coil_ohm: float = 90.0
    coil_h: float = 0.45
    operate_v: float = 6.9
    release_v: float = 1.8
    coil_c: float = 20.0
    suppression: str = "resistor"
    resistor_ohm: float = 680.0

    @property
    def hot_ohm(self) -> float:
        """Coil resistance at its temperature."""
        return copper_hot_ohm(self.coil_ohm, self.coil_c)


def relay_open(
    relay: Relay, source: Waveform, coil_off: tuple[tuple[float, float], ...], end_s: float
) -> tuple[tuple[float, float], ...]:
    """Stretches in which the relay's contact is open. `coil_off`: the key does not feed the coil."""
    t = np.asarray(np.arange(0.0, end_s, STEP_S), dtype=np.float64)
    driven = np.ones(t.shape, dtype=bool)
    for start_s, stop_s in coil_off:
        driven[np.searchsorted(t, start_s) : np.searchsorted(t, stop_s)] = False
    current = coil_current(relay, source(t), driven)
    operate_a, release_a = relay.operate_v / relay.coil_ohm, relay.release_v / relay.coil_ohm
    above, below = current >= operate_a, current < release_a
    decisive = np.where(above, 1, np.where(below, -1, 0))
    last = np.maximum.accumulate(np.where(decisive != 0, np.arange(len(t)), 0))
    closed = decisive[last] > 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (~closed).astype(np.int8), [0]))))
    stop = np.append(t, np.inf)
    return tuple((float(stop[a]), float(stop[b])) for a, b in zip(edges[::2], edges[1::2], strict=True))


def coil_current(relay: Relay, volts: FloatArray, driven: NDArray[np.bool_]) -> FloatArray:
    """Amperes at steps of STEP_S, shape (n,) like `volts` and `driven`.

    L di/dt = v - R i while driven; the suppressor's decay while not. Exact for a constant voltage per step.
    """
    ohm = relay.hot_ohm
    keep = float(np.exp(-STEP_S * ohm / relay.coil_h))
    current = np.zeros_like(volts)
    edges = np.flatnonzero(np.diff(driven.astype(np.int8))) + 1
    begin = 0.0  # at the part's first moment; each part ends with the next one's
    for first, last in zip(np.r_[0, edges], np.r_[edges, len(volts)], strict=True):
        if driven[first]:
            drive = volts[first:last] / ohm * (1.0 - keep)
            course = np.append(begin, lfilter([1.0], [1.0, -keep], drive, zi=np.array([keep * begin]))[0])
        else:
            course = _released(relay, begin, np.asarray(STEP_S * np.arange(int(last - first) + 1), dtype=np.float64))
        current[first:last] = course[:-1]
        begin = float(course[-1])
    return current


def _released(relay: Relay, begin_a: float, since_s: FloatArray) -> FloatArray:
    ohm = relay.hot_ohm
    if relay.suppression == "diode":
        floor_a = 0.7 / ohm
        return np.asarray(np.maximum((begin_a + floor_a) * np.exp(-since_s * ohm / relay.coil_h) - floor_a, 0.0))
    if relay.suppression == "resistor":
        return np.asarray(begin_a * np.exp(-since_s * (ohm + relay.resistor_ohm) / relay.coil_h))
    return np.zeros_like(since_s)
