"""Resistance of copper wire by gauge: AWG after ASTM B258, metric after IEC 60228, with temperature."""

from __future__ import annotations

import math
import re

from firstcrank.errors import UsageError

RESISTIVITY_OHM_M = 1.7241e-8  # annealed copper at 20 degC, 100 % IACS (from memory, agrees with handbook wire tables)
# IEC 60228 class 5 (flexible), plain copper, highest mOhm/m at 20 degC, as quoted by
# mycableengineering.com/knowledge-base/iec-60228-dc-resistance and uecables.com, "Power copper conductors according to IEC 60228".
CLASS_5_MOHM_PER_M = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
    16.0: 1.21,
    25.0: 0.780,
    35.0: 0.554,
    50.0: 0.386,
    70.0: 0.272,
    95.0: 0.206,
}
AWG_SIZES = (24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2, 1, 0, -1, -2, -3)
STRAND_LAY = 1.02  # strands run in a helix and are some 2 % longer: NEC chapter 9 table 8, stranded over solid rows
M_PER_FT = 0.3048


def awg_number(text: str) -> int:
    """-3 for 4/0, 0 for 1/0, else the number. Raises UsageError."""
    noughts = re.fullmatch(r"\s*(?:AWG\s*)?(0{2,4})\s*", text, re.IGNORECASE)
    if noughts:
        return 1 - len(noughts[1])
    match = re.fullmatch(r"\s*(?:AWG\s*)?(\d{1,2})(/0)?\s*(?:AWG)?\s*", text, re.IGNORECASE)
    if not match:
        raise UsageError(f"{text!r} is no AWG size: write 16 or 2/0")
    number = int(match[1])
    size = 1 - number if match[2] else number
    if not -3 <= size <= 40:
        raise UsageError(f"AWG {text} is outside 4/0 to 40")
    return size


def awg_name(size: int) -> str:
    """ "16", "2/0"."""
    return f"{1 - size}/0" if size < 0 or size == 0 else str(size)


def awg_diameter_m(size: int) -> float:
    """d = 0.127 mm * 92 ** ((36 - n) / 39), ASTM B258."""
    return float(0.127e-3 * 92.0 ** ((36 - size) / 39.0))


def awg_area_m2(size: int) -> float:
    """Of a solid wire."""
    return math.pi / 4.0 * awg_diameter_m(size) ** 2


def at_temperature(ohm_at_20c: float, temperature_c: float) -> float:
    """Copper: R = R20 * (234.5 + T) / 254.5 (FAA AC 43.13-1B, chapter 11)."""
    return ohm_at_20c * (234.5 + temperature_c) / 254.5


def awg_ohm_per_m(size: int, temperature_c: float = 20.0) -> float:
    """Solid wire."""
    return at_temperature(RESISTIVITY_OHM_M / awg_area_m2(size), temperature_c)


def stranded_ohm_per_m(size: int, temperature_c: float = 20.0) -> float:
    """Stranded wire of an AWG size, as used in vehicles."""
    return STRAND_LAY * awg_ohm_per_m(size, temperature_c)


def metric_ohm_per_m(area_mm2: float, temperature_c: float = 20.0) -> float:
    """IEC 60228 class 5, highest allowed. Raises UsageError for a size that the standard does not list."""
    if area_mm2 not in CLASS_5_MOHM_PER_M:
        sizes = ", ".join(f"{a:g}" for a in CLASS_5_MOHM_PER_M)
        raise UsageError(f"{area_mm2:g} mm2 is not in IEC 60228; sizes are {sizes}")
    return at_temperature(CLASS_5_MOHM_PER_M[area_mm2] * 1e-3, temperature_c)


def drop_v(ohm_per_m: float, length_m: float, amperes: float) -> float:
    """Volts lost along the wire, one way."""
    return ohm_per_m * length_m * amperes
