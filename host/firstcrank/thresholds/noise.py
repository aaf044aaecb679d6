"""Noise and resolution of a logger, from its own readings."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class NoiseThresholds:
    """Noise and resolution of a logger, from its own readings."""

    window: int = count(
        32, "readings in which noise is measured: short, so that what the vehicle does is nearly straight in some of them"
    )
    most_windows: int = count(4000, "spread over the file")
    live_v: float = number(
        1.0, "V", "a lead that carries nothing reads a constant and shows nothing of the noise", scales=False
    )
    quiet_share: float = number(0.25, "", "the quietest of the windows: ripple and edges are in the others")
    most_readings: int = count(65_536, "of a channel, for the resolution")
    least_levels: int = count(8, "fewer different readings show no step")
    finest_v: float = number(
        1e-5,
        "V",
        "finer than the noise of any logger that takes a vehicle's voltages: rounding of text, not a step",
        scales=False,
    )
    step_quantile: float = number(0.25, "", "of the differences between readings: one step of the converter")
    even_within: float = number(0.3, "", "of a step: a difference is a whole number of steps")
    even_from: float = number(0.7, "", "of a step: a smaller difference is none")
    even_share: float = number(0.85, "", "of the differences: the readings lie on a ladder of even steps")


NOISE = NoiseThresholds()  # at 12 V
