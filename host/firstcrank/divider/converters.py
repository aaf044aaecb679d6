"""What is known of the converters an input can end at: their errors in codes, what they load, what they carry from lead to lead."""

from __future__ import annotations

from dataclasses import dataclass

E11_CODES = (512, 1536, 2560, 3584)  # erratum RP2040-E11: about nine codes wide each


@dataclass(frozen=True, slots=True)
class Converter:
    """Limits of error in codes, before any calibration and, `inl_code`, after a straight line through two points or more.

    `offset_code` at both ends of the range; `input_ohm` least input resistance; `sample_f` the capacitor that is carried from lead to
    lead `rate_hz` times a second each; `pin_leak_a` at 85 degC. `wide_codes`: where the straight line is off most.
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
        return float(self.pin_leak_a * 2.0 ** (min(celsius - 85.0, 0.0) / 10.0))


RP2040 = Converter(
    "RP2040",
    offset_code=15.0,
    inl_code=4.5,
    noise_code=1.4,
    input_ohm=100e3,
    sample_f=1e-12,
    rate_hz=500e3 / 3,
    pin_leak_a=1e-6,
    wide_codes=E11_CODES,
    source=(
        "input resistance and leakage: datasheet tables 633 and 634; INL: half a nine-code step, erratum E11; offset: five boards "
        "of a public table, -15 codes at the bottom to +15 at the top; noise: a public test, 1.0 to 1.4 codes; 1 pF from memory"
    ),
)
RP2350 = Converter(
    "RP2350",
    offset_code=15.0,
    inl_code=2.0,
    noise_code=1.4,
    input_ohm=100e3,
    sample_f=1e-12,
    rate_hz=500e3 / 3,
    pin_leak_a=1e-6,
    wide_codes=(),
    source="no wide codes, half a bit better: its datasheet 12.4; the rest as the RP2040, our caution: no published measurement found",
)
MCP3208 = Converter(
    "MCP3208",
    offset_code=8.0,
    inl_code=2.0,
    noise_code=0.5,
    input_ohm=float("inf"),
    sample_f=20e-12,
    rate_hz=1300.0,
    pin_leak_a=1e-6,
    wide_codes=(),
    source="Microchip DS21298, grade C, from memory: INL 2, offset 3 and gain 5 codes, 20 pF, leakage 1 uA; rate: docs/acquisition.md",
)
CONVERTERS = {c.name: c for c in (RP2040, RP2350, MCP3208)}
