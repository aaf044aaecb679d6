"""What is known of each converter: its wide codes, what is left of its nonlinearity, its offset, noise and load.

The staircase is the inverse of the wide codes (RP2040 erratum E11): it puts a code, or a mean of codes, back to where an even
converter would have it. It is the mean of published boards; what boards differ by is in `residual_code`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from firstcrank.errors import CalibrationError
from firstcrank.trace import FloatArray

CODES = 4096  # 12-bit converters, all three
PIN_LEAK_C = 85.0
FIVE_BOARDS = "five boards measured: github.com/kitanokitsune/rp2040adc_correction, commit 61898dd, raw data evaluated here"


@dataclass(frozen=True, slots=True)
class Converter:
    """One converter. Limits (`offset_code`) are of a rectangular distribution, the other numbers are one standard deviation.

    `wide`: code -> its width in codes. `residual_code`: what is left of the nonlinearity after the staircase and a straight line.
    `input_ohm`: least input resistance. `pin_leak_a`: highest leakage at 85 degC. `sample_f` and `lead_hz`: sampling capacitor and how
    often one of three leads is sampled.
    """

    name: str
    wide: tuple[tuple[int, float], ...]
    residual_code: float
    offset_code: float
    noise_code: float
    input_ohm: float
    sample_f: float
    lead_hz: float
    pin_leak_a: float
    source: str

    def pin_leaks_a(self, celsius: float) -> float:
        """Highest input leakage at a temperature: halves every 10 K below the 85 degC that the sheet's limit must hold at."""
        return float(self.pin_leak_a * 2.0 ** (min(celsius - PIN_LEAK_C, 0.0) / 10.0))


CONVERTERS: Mapping[str, Converter] = {
    c.name: c
    for c in (
        Converter(
            "rp2040",
            wide=((511, 10.4), (1535, 9.3), (2559, 9.1), (3583, 10.1)),
            residual_code=0.8,
            offset_code=17.0,
            noise_code=1.4,
            input_ohm=100e3,
            sample_f=1e-12,
            lead_hz=500e3 / 3,
            pin_leak_a=1e-6,
            source=f"wide codes, residual (0.4 to 0.8 rms), offset (11 to 17): {FIVE_BOARDS}. Noise: public test, 1.0 to 1.4. "
            "Input resistance: data sheet table 634. Leakage: data sheet table 633. Sampling capacitor: from memory",
        ),
        Converter(
            "rp2350",
            wide=(),
            residual_code=1.2,
            offset_code=8.0,
            noise_code=1.4,
            input_ohm=100e3,
            sample_f=1e-12,
            lead_hz=500e3 / 3,
            pin_leak_a=1e-6,
            source=f"residual (0.7 to 1.2 rms), offset (-6 to 8): {FIVE_BOARDS}. The rest as the RP2040's: nothing was found",
        ),
        Converter(
            "mcp3208",
            wide=(),
            residual_code=1.2,
            offset_code=3.0,
            noise_code=0.5,
            input_ohm=float("inf"),
            sample_f=20e-12,
            lead_hz=2800.0,
            pin_leak_a=1e-6,
            source="from memory of its data sheet: INL at most 2 codes in the lesser grade, offset at most 3, sampling capacitor "
            "20 pF, leakage 1 µA; noise our caution; rate: docs/acquisition.md",
        ),
    )
}
UNCORRECTED_CODE = 4.5 / 3**0.5  # wide codes of about nine, not corrected: up to 4.5 codes off, spread evenly


def converter(name: str) -> Converter:
    """The converter called `name`. Raises CalibrationError naming those that there are."""
    if name not in CONVERTERS:
        raise CalibrationError(f"no converter is called {name!r}; there are {', '.join(CONVERTERS)}")
    return CONVERTERS[name]


def converter_of(acquisition: str, chip: str) -> str:
    """Name of the converter that a board's acquisition uses; the RP2040's where the chip does not tell."""
    if acquisition == "spi_mcp3208":
        return "mcp3208"
    return "rp2350" if "RP2350" in chip.upper() else "rp2040"


@lru_cache(maxsize=32)
def knots(wide: tuple[tuple[int, float], ...]) -> tuple[FloatArray, FloatArray]:
    """(even code, code given) at the corners of the transfer: nearly flat across each wide code, the ends at 0 and 4096."""
    narrow = (CODES - sum(width for _, width in wide)) / (CODES - len(wide))
    even, given = [0.0], [0.0]
    for code, width in sorted(wide):
        even.append(even[-1] + narrow * (code - 0.5 - given[-1]))
        given.append(code - 0.5)
        even.append(even[-1] + width)
        given.append(code + 0.5)
    return np.array([*even, float(CODES)]), np.array([*given, float(CODES)])


def evened(name: str, codes: ArrayLike) -> FloatArray:
    """Codes (any shape, fractions allowed) as an even converter would give them; unchanged below 0, at the top, or for no name."""
    given = np.asarray(codes, dtype=np.float64)
    wide = CONVERTERS[name].wide if name else ()
    if not wide:
        return given
    even_at, given_at = knots(wide)
    return np.asarray(np.where((given > 0) & (given < CODES - 1), np.interp(given, given_at, even_at), given))


def as_given(name: str, even: ArrayLike) -> FloatArray:
    """Undoes evened: the code (a real number) that the converter gives for an even code."""
    wanted = np.asarray(even, dtype=np.float64)
    wide = CONVERTERS[name].wide if name else ()
    if not wide:
        return wanted
    even_at, given_at = knots(wide)
    return np.asarray(np.where((wanted > 0) & (wanted < CODES - 1), np.interp(wanted, even_at, given_at), wanted))
