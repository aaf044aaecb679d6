"""One input's network and everything that follows from its values in closed form.

clip --- r_top ---+--- r_series --- ADC pin
                  |
            r_bottom || c_filter (and r_up to the reference, for inputs that go below zero)
                  |
               battery negative             clamp: diodes from the node to the reference and to ground

r_top may be several parts in series: the ones in the clip's boot first, the one on the board last.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.clamps import BAV199, Clamp
from firstcrank.converters import converter
from firstcrank.errors import UsageError

CODES = 4096
ADC_INPUT_OHM, ADC_SAMPLE_F = converter("rp2040").input_ohm, converter("rp2040").sample_f
PIN_BEYOND_V = 0.5  # what an RP2040 pin may go beyond its supply and ground (absolute maximum, from memory)
SETTLE_TAUS = math.log(2**13)  # to half a step of 12 bits: 9.01 time constants


@dataclass(frozen=True, slots=True)
class Network:
    """Values in ohm, farad, volts. `r_up_ohm` 0: none. `clamp`: external diodes at the node, None for none.

    `top_parts_ohm`: the parts that make up r_top, from the clip on; () for one part. Their sum must be r_top.
    """

    r_top_ohm: float
    r_bottom_ohm: float
    c_filter_f: float = 0.0
    r_series_ohm: float = 0.0
    r_up_ohm: float = 0.0
    reference_v: float = 3.3
    clamp: Clamp | None = BAV199
    top_parts_ohm: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for name in ("r_top_ohm", "r_bottom_ohm", "reference_v"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise UsageError(f"{name} is {value:g}, must be above 0")
        for name in ("c_filter_f", "r_series_ohm", "r_up_ohm"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise UsageError(f"{name} is {value:g}, must be 0 or more")
        if self.c_filter_f > 1e-3:
            raise UsageError(f"c_filter_f is {self.c_filter_f:g} F, must be 1 mF or less: write 10n for 10 nF")
        if self.top_parts_ohm and not math.isclose(sum(self.top_parts_ohm), self.r_top_ohm, rel_tol=1e-9):
            raise UsageError(f"the parts of r_top add up to {sum(self.top_parts_ohm):g} ohm, not to {self.r_top_ohm:g}")

    @property
    def parts_ohm(self) -> tuple[float, ...]:
        """The parts of r_top, from the clip on; one where it is one."""
        return self.top_parts_ohm or (self.r_top_ohm,)

    def worst_share(self, tolerance: float) -> float:
        """Largest share of r_top's voltage that one of its parts takes: that part high, all others low in tolerance."""
        rest = [(own, self.r_top_ohm - own) for own in self.parts_ohm]
        return max(own * (1 + tolerance) / (own * (1 + tolerance) + others * (1 - tolerance)) for own, others in rest)

    @property
    def node_siemens(self) -> float:
        """Conductance from the node to everything but the clip's source."""
        up = 1.0 / self.r_up_ohm if self.r_up_ohm else 0.0
        return 1.0 / self.r_top_ohm + 1.0 / self.r_bottom_ohm + up

    @property
    def source_ohm(self) -> float:
        """What the converter sees (Thevenin), without r_series."""
        return 1.0 / self.node_siemens

    @property
    def share(self) -> float:
        """Node volts per volt at the clip, 0 to 1."""
        return self.source_ohm / self.r_top_ohm

    @property
    def node_at_zero_v(self) -> float:
        """Node volts with 0 V at the clip: above 0 with r_up only."""
        return self.reference_v * self.source_ohm / self.r_up_ohm if self.r_up_ohm else 0.0

    @property
    def ratio(self) -> float:
        """Volts at the clip per volt at the node."""
        return 1.0 / self.share

    @property
    def full_scale_v(self) -> float:
        """Clip volts at the reference."""
        return (self.reference_v - self.node_at_zero_v) * self.ratio

    @property
    def lowest_v(self) -> float:
        """Clip volts at code 0."""
        return -self.node_at_zero_v * self.ratio

    @property
    def step_v(self) -> float:
        """Clip volts per code."""
        return self.reference_v / CODES * self.ratio

    @property
    def tau_s(self) -> float:
        """Time constant of the filter."""
        return self.source_ohm * self.c_filter_f

    @property
    def corner_hz(self) -> float:
        """-3 dB, infinite without a capacitor."""
        return 1.0 / (2.0 * math.pi * self.tau_s) if self.tau_s else math.inf

    def settling_s(self, sample_f: float = ADC_SAMPLE_F) -> float:
        """To half a step of 12 bits: by the filter where there is one, else by the clamp's and the converter's own capacitance."""
        if self.c_filter_f:
            return SETTLE_TAUS * self.tau_s
        clamp_f = 2.0 * self.clamp.capacitance_f if self.clamp else 0.0
        return SETTLE_TAUS * (self.source_ohm * clamp_f + (self.source_ohm + self.r_series_ohm) * sample_f)

    def load_share(self, input_ohm: float = ADC_INPUT_OHM) -> float:
        """How much lower the pin can be through the converter's least input resistance, 0 to 1: Rth / (Rth + Rin), r_series in Rth."""
        ohm = self.source_ohm + self.r_series_ohm
        return 0.0 if math.isinf(input_ohm) else ohm / (ohm + input_ohm)

    def sample_share(self, sample_f: float = ADC_SAMPLE_F) -> float:
        """How much of the node's voltage one sample's charge can move it, where the filter holds it."""
        return sample_f / (sample_f + self.c_filter_f) if self.c_filter_f else 0.0

    def open_pin_v(self, input_ohm: float = math.inf) -> float:
        """Volts at the pin with nothing on the clip: 0 without r_up; lower through a converter's input resistance."""
        if not self.r_up_ohm:
            return 0.0
        siemens = 1.0 / self.r_bottom_ohm + 1.0 / self.r_up_ohm
        source_ohm = 1.0 / siemens + self.r_series_ohm
        return self.reference_v / self.r_up_ohm / siemens / (1.0 + source_ohm / input_ohm)

    def open_reads_v(self, input_ohm: float = math.inf) -> float:
        """What the nominal line makes of a clip with nothing on it, volts at the clip."""
        line = 1.0 / (1.0 - self.load_share(input_ohm) / 2.0)
        return (self.open_pin_v(input_ohm) * line - self.node_at_zero_v) * self.ratio

    def node_v(self, clip_v: float) -> float:
        """Node volts, clamp not conducting."""
        return clip_v * self.share + self.node_at_zero_v

    def code(self, clip_v: float) -> int:
        """The code for a voltage at the clip, 0 to 4095."""
        return int(min(max(round(self.node_v(clip_v) / self.reference_v * CODES), 0), CODES - 1))

    def loading_a(self, clip_v: float) -> float:
        """Current taken from the circuit under test."""
        return (clip_v - self.node_v(clip_v)) / self.r_top_ohm

    def shortest_dropout_s(self, from_v: float, limit_v: float, to_v: float = 0.0) -> float:
        """Shortest square dropout from `from_v` to `to_v` that still takes the filtered reading below `limit_v`.

        RC step: t = tau ln((from - to) / (limit - to)). Raises UsageError where the reading never gets there.
        """
        if not to_v < limit_v < from_v:
            raise UsageError(f"a dropout from {from_v:g} V to {to_v:g} V does not cross {limit_v:g} V")
        return self.tau_s * math.log((from_v - to_v) / (limit_v - to_v))

    def clamped(self, free_v: float, siemens: float) -> tuple[float, float]:
        """Node volts and clamp current of a node that would stand at `free_v` behind `siemens`, the clamp conducting where it must.

        Above 0 into the upper diode, below 0 out of the lower one. The current is halved in on: (free - v(i)) siemens = i.
        """
        if self.clamp is None or 0.0 <= free_v <= self.reference_v:
            return free_v, 0.0
        beyond_v = free_v - self.reference_v if free_v > 0 else -free_v
        low, high = 0.0, beyond_v * siemens
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if (beyond_v - self.clamp.forward_v(middle)) * siemens > middle else (low, middle)
        forward_v = self.clamp.forward_v(low)
        return (self.reference_v + forward_v, low) if free_v > 0 else (-forward_v, -low)

    def held(self, clip_v: float, source_ohm: float = 0.0) -> tuple[float, float]:
        """Steady node volts and clamp current; `source_ohm` stands before the clip."""
        top_ohm = self.r_top_ohm + source_ohm
        up = 1.0 / self.r_up_ohm if self.r_up_ohm else 0.0
        siemens = 1.0 / top_ohm + 1.0 / self.r_bottom_ohm + up
        return self.clamped((clip_v / top_ohm + self.reference_v * up) / siemens, siemens)

    def clamp_a(self, clip_v: float, source_ohm: float = 0.0) -> float:
        """Steady net current into the clamp, above 0 into the upper diode, below 0 out of the lower one."""
        return self.held(clip_v, source_ohm)[1]
