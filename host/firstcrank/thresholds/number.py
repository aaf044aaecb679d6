"""One number of a table of thresholds: its value at 12 V, its unit and its meaning."""

from __future__ import annotations

from dataclasses import field


def number(default: float, unit: str, meaning: str, *, scales: bool = True) -> float:
    """A threshold: value at 12 V, unit and meaning in one line. A voltage doubles at 24 V but where `scales` says that it is the same."""
    return field(default=default, metadata={"unit": unit, "meaning": meaning, "scales": scales and unit == "V"})


def count(default: int, meaning: str) -> int:
    """A threshold that is a whole number of something."""
    return field(default=default, metadata={"unit": "", "meaning": meaning, "scales": False})
