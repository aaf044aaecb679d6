"""Resistance of copper wire, from its section and temperature, for the simulator's cables."""

from __future__ import annotations

RESISTIVITY_OHM_MM2_PER_M = 0.017241  # annealed copper, 100 % IACS at 20 degC (from memory; IEC 60228 rows agree)
PER_K = 0.00393


def copper_ohm(length_m: float, area_mm2: float, temperature_c: float = 20.0) -> float:
    """One conductor of `length_m` metres and `area_mm2` square millimetres."""
    return RESISTIVITY_OHM_MM2_PER_M * length_m / area_mm2 * (1.0 + PER_K * (temperature_c - 20.0))


def copper_hot_ohm(cold_ohm: float, temperature_c: float, cold_c: float = 20.0) -> float:
    """A copper winding at another temperature: R2 = R1 (234.5 + t2) / (234.5 + t1), FAA AC 43.13-1B."""
    return cold_ohm * (234.5 + temperature_c) / (234.5 + cold_c)
