"""The lead-acid battery: open-circuit voltage from its charge, internal resistance from its cold-crank rating."""

from __future__ import annotations

import numpy as np

# BCI table, flooded, 80 degF (26.7 degC), surface charge removed: share of charge, volts.
CHARGE = (0.0, 0.25, 0.5, 0.75, 1.0)
OPEN_CIRCUIT_V = (11.89, 12.06, 12.24, 12.45, 12.65)
RATED_C = -18.0  # SAE J537: the rated current for 30 s at 0 degF with at least 7.2 V left
RATED_LEFT_V = 7.2
PER_K = 0.0155  # common practice, no source: resistance about halves from -18 to 27 degC
TEMPERATURE_V_PER_K = 0.0012  # 12 V battery, from memory: about 0.2 mV per cell and kelvin


def open_circuit_v(charge: float, temperature_c: float = 26.7) -> float:
    """Rest voltage of a 12 V battery holding the share `charge` (0 to 1)."""
    return float(np.interp(charge, CHARGE, OPEN_CIRCUIT_V) + TEMPERATURE_V_PER_K * (temperature_c - 26.7))


def internal_ohm(cold_crank_a: float, temperature_c: float, charge: float, scale: float = 1.0) -> float:
    """Ohmic and polarisation resistance together, of one (`scale` 1) or two batteries in series (`scale` 2).

    The rating fixes it at -18 degC: (12.65 V - 7.2 V) / rated current. A half-charged battery has about a third more
    (common practice, no source).
    """
    at_rating_ohm = (OPEN_CIRCUIT_V[-1] - RATED_LEFT_V) / cold_crank_a
    warmth = float(np.exp(-PER_K * (temperature_c - RATED_C)))
    return scale * at_rating_ohm * warmth * (1.0 + 0.66 * (1.0 - charge))
