"""What a person types for a voltage or a meter's accuracy, in any of the usual spellings, as numbers."""

from __future__ import annotations

import math
import re

from firstcrank.errors import UsageError

_NUMBER = r"([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+))"
_VOLTS = re.compile(_NUMBER + r"\s*(mv|millivolts?|v|volts?|vdc)?")
_COUNTS = re.compile(r"([0-9]{1,3})\s*(?:counts?|digits?|dgts?|x|\*)\s*(?:of|x|\*|à|at)?\s*(.+)")
_SHARE = re.compile(_NUMBER + r"\s*(%|percent|per cent|pct)?")
UNIT_V = {"mv": 1e-3, "millivolt": 1e-3, "millivolts": 1e-3}


def volts(text: str, plain_v: float = 1.0) -> float:
    """Volts from text such as "12.6", "12,6 V", "9 volts", "20 mV". A bare number counts `plain_v` volts. Raises UsageError."""
    match = _VOLTS.fullmatch(text.strip().lower())
    if match is None:
        raise UsageError(f"{_short(text)} is no voltage: write 12.63")
    unit = match[2] or ""
    return _number(match[1], text) * (UNIT_V.get(unit, 1.0) if unit else plain_v)


def meter_volts(text: str) -> float:
    """The volts part of a meter's accuracy: "20 mV", "0.02 V", "2 counts of 10 mV", "2 x 10 mV"; a bare number is millivolts.

    Raises UsageError.
    """
    match = _COUNTS.fullmatch(text.strip().lower())
    if match is None:
        return volts(text, 1e-3)
    return int(match[1]) * volts(match[2], 1e-3)


def share(text: str) -> float:
    """A share from text in percent, such as "0.5", "0,5 %", "0.5 percent". Raises UsageError."""
    match = _SHARE.fullmatch(text.strip().lower())
    if match is None:
        raise UsageError(f"{_short(text)} is no accuracy: write 0.5 %")
    return _number(match[1], text) / 100.0


def _number(digits: str, text: str) -> float:
    value = float(digits.replace(",", "."))
    if not math.isfinite(value):
        raise UsageError(f"{_short(text)} is too large")
    return value


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
