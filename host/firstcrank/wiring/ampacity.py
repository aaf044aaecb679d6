"""What a wire may carry for ever, and which fuse protects it."""

from __future__ import annotations

import bisect
import math

from firstcrank.errors import UsageError
from firstcrank.wiring.gauge import AWG_SIZES, CLASS_5_MOHM_PER_M, awg_area_m2

# Amperes of a wire in a bundle: US military practice (MIL-W-5088, FAA AC 43.13-1B) as a public table of wire sizes quotes it,
# 22 to 2/0; 3/0 and 4/0 from memory. Made for 105 degC insulation in surroundings of 57 degC.
BUNDLED_A = {
    24: 2.0, 22: 5.0, 20: 7.5, 18: 10.0, 16: 13.0, 14: 17.0, 12: 23.0, 10: 33.0, 8: 44.0, 6: 60.0, 4: 81.0, 2: 108.0,
    1: 125.0, 0: 147.0, -1: 169.0, -2: 200.0, -3: 225.0,
}  # fmt: skip
INSULATION_C, RATED_SURROUNDINGS_C = 105.0, 57.0
# ISO 8820 blade fuses and bolted links as sold (common practice, no source).
FUSES_A = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 100, 125, 150, 175, 200, 225, 250, 300)
LOAD_OF_FUSE = 0.8  # a fuse is loaded to 80 % at the most (common practice, no source)
COPPER_J_M3K = 3.45e6  # heat capacity of copper, textbook
CRANK_RISE_K, CRANK_S = 40.0, 30.0  # what a starter cable may warm up in its longest crank (our choice)


def derated(surroundings_c: float) -> float:
    """Share of the table's amperes in hotter surroundings: square root of what is left to the insulation's limit; never above 1."""
    if surroundings_c >= INSULATION_C:
        raise UsageError(f"{surroundings_c:g} °C is no surroundings for a wire of {INSULATION_C:g} °C insulation")
    return math.sqrt(min((INSULATION_C - surroundings_c) / (INSULATION_C - RATED_SURROUNDINGS_C), 1.0))


def awg_amperes(size: int, surroundings_c: float = 20.0) -> float:
    """Amperes of an AWG size in a bundle. Raises UsageError for a size outside 24 to 4/0."""
    if size not in BUNDLED_A:
        size = next((listed for listed in sorted(BUNDLED_A) if listed > size), 99)  # the next thinner one that is listed
    if size not in BUNDLED_A:
        raise UsageError("no ampacity is known for wire thinner than AWG 24: do not use it for a feed")
    return BUNDLED_A[size] * derated(surroundings_c)


def metric_amperes(area_mm2: float, surroundings_c: float = 20.0) -> float:
    """Amperes of a metric size, between the AWG sizes beside it on a log-log line; below AWG 24's area a UsageError."""
    areas = [awg_area_m2(s) * 1e6 for s in AWG_SIZES]
    if area_mm2 < areas[0]:
        raise UsageError("no ampacity is known for wire thinner than AWG 24: do not use it for a feed")
    i = min(max(bisect.bisect_right(areas, area_mm2), 1), len(areas) - 1)
    low, high = BUNDLED_A[AWG_SIZES[i - 1]], BUNDLED_A[AWG_SIZES[i]]
    share = math.log(area_mm2 / areas[i - 1]) / math.log(areas[i] / areas[i - 1])
    return float(low * (high / low) ** min(share, 1.0) * derated(surroundings_c))


def fuse_for_load(amperes: float) -> float:
    """Smallest fuse that the load fills to 80 % or less. Raises UsageError above the largest."""
    for fuse in FUSES_A:
        if amperes <= LOAD_OF_FUSE * fuse + 1e-9:
            return float(fuse)
    raise UsageError(f"{amperes:g} A is beyond the fuses listed: have it drawn by a competent person")


def largest_fuse(wire_a: float) -> float:
    """Largest fuse that still protects a wire of that ampacity; 0 where none does."""
    return float(max((f for f in FUSES_A if f <= wire_a + 1e-9), default=0))


def crank_rise_k(area_mm2: float, amperes: float, seconds: float = CRANK_S) -> float:
    """How much a cable warms up while cranking, no heat leaving it: (I / A)^2 rho t / c, textbook."""
    resistivity = 1.7241e-8 * 1.15  # at some 60 degC
    return (amperes / (area_mm2 * 1e-6)) ** 2 * resistivity * seconds / COPPER_J_M3K


METRIC_SIZES = tuple(CLASS_5_MOHM_PER_M)
