"""The converters an input can end at, as a design sees them: limits of error in codes, what they load, carry and leak.

The numbers are those of firstcrank.converters, which the calibration uses too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank import converters as known


@dataclass(frozen=True, slots=True)
class Converter:
    """Limits of error in codes: `offset_code` before any calibration at both ends of the range, `inl_code` what is left after a straight
    line, the wide codes taken out. `input_ohm` least input resistance; `sample_f` the capacitor that is carried from lead to lead
    `rate_hz` times a second each; `pin_leak_a` at 85 degC. `wide_codes`: within one, half its width is not known.
    """

    name: str
    offset_code: float
    inl_code: float
    noise_code: float
    input_ohm: float
    sample_f: float
    rate_hz: float
    pin_leak_a: float
    wide_codes: tuple[int, ...]
    source: str

    def pin_leaks_a(self, celsius: float) -> float:
        """Highest input leakage at a temperature: halves every 10 K below the 85 degC that the sheet's limit must hold at."""
        return float(self.pin_leak_a * 2.0 ** (min(celsius - known.PIN_LEAK_C, 0.0) / 10.0))


def _of(name: str) -> Converter:
    """The shared row with its residual, one standard deviation, as a rectangular limit."""
    row = known.CONVERTERS[name]
    return Converter(
        name.upper(),
        row.offset_code,
        row.residual_code * math.sqrt(3.0),
        row.noise_code,
        row.input_ohm,
        row.sample_f,
        row.lead_hz,
        row.pin_leak_a,
        tuple(code for code, _ in row.wide),
        row.source,
    )


RP2040, RP2350, MCP3208 = _of("rp2040"), _of("rp2350"), _of("mcp3208")
E11_CODES = RP2040.wide_codes  # erratum RP2040-E11
CONVERTERS = {c.name: c for c in (RP2040, RP2350, MCP3208)}
