"""What an input truly reads when its parts are not nominal: the node's and the pin's exact voltages, solved and not linearised."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.divider.network import CODES, Network


@dataclass(frozen=True, slots=True)
class Actual:
    """The parts as they are. `leak_a` into the node; `pin_leak_a` out of the pin; `carried_a` what sampling brings to the pin."""

    r_top_ohm: float
    r_bottom_ohm: float
    r_series_ohm: float
    r_up_ohm: float
    reference_v: float
    leak_a: float = 0.0
    pin_leak_a: float = 0.0
    carried_a: float = 0.0
    input_ohm: float = math.inf

    def pin_v(self, clip_v: float) -> float:
        """Pin volts: node and pin equations solved together (two conductances and two currents)."""
        up = 1.0 / self.r_up_ohm if self.r_up_ohm else 0.0
        node_siemens = 1.0 / self.r_top_ohm + 1.0 / self.r_bottom_ohm + up
        into_node_a = clip_v / self.r_top_ohm + self.reference_v * up + self.leak_a
        into_pin_a = self.carried_a - self.pin_leak_a
        load = 0.0 if math.isinf(self.input_ohm) else 1.0 / self.input_ohm
        source_ohm = 1.0 / node_siemens + self.r_series_ohm
        open_v = into_node_a / node_siemens
        return (open_v + source_ohm * into_pin_a) / (1.0 + source_ohm * load)

    def code(self, clip_v: float) -> float:
        """The code as a real number, before the converter's own errors."""
        return self.pin_v(clip_v) / self.reference_v * CODES


def actual(network: Network, **changed: float) -> Actual:
    """A network's nominal parts, some changed."""
    values = {
        "r_top_ohm": network.r_top_ohm,
        "r_bottom_ohm": network.r_bottom_ohm,
        "r_series_ohm": network.r_series_ohm,
        "r_up_ohm": network.r_up_ohm,
        "reference_v": network.reference_v,
    }
    return Actual(**{**values, **changed})


def nominal_volts(network: Network, code: float, input_ohm: float = math.inf) -> float:
    """What the nominal line makes of a code; half of the load by a least input resistance is taken out."""
    node_v = code / CODES * network.reference_v / (1.0 - network.load_share(input_ohm) / 2.0)
    return (node_v - network.node_at_zero_v) * network.ratio
