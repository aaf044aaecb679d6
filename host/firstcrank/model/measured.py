"""A value with its standard uncertainty and unit, as one thing."""

from __future__ import annotations

from typing import NamedTuple

COVERAGE = 2.0  # k: about 95 % for a normal distribution, JCGM 100:2008 6.3.3


class Measured(NamedTuple):
    """A value and its standard uncertainty.

    Attributes:
        value: In `unit`.
        u: Standard uncertainty (k = 1), in `unit`.
        unit: "V", "s", "ohm", "rpm"; empty for a count or share.
    """

    value: float
    u: float = 0.0
    unit: str = ""

    @property
    def expanded(self) -> float:
        """U = k * u with k = 2, in `unit`."""
        return COVERAGE * self.u
