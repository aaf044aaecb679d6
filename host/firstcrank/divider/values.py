"""Values as people write them on parts and in lists: 4k7, 47k, 10n, 2.2M, 1e-8; and resistors in series, 4x7.5k+3k."""

from __future__ import annotations

import math
import re

from firstcrank.errors import UsageError

PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "R": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}
PLAIN = re.compile(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)(e[-+]?\d{1,3})?\s*([pnuµmkKM]?)\s*(?:ohms?|Ω|F|V|s|A|W)?\s*", re.IGNORECASE)
INSIDE = re.compile(r"\s*(\d+)([pnuµmRkKM])(\d+)\s*(?:ohms?|Ω|F)?\s*")  # IEC 60062: the letter stands for the decimal mark


def number(text: str) -> float:
    """A value with a prefix: 47k, 4k7, 10n, 2.2M, 1e-8, 0. Raises UsageError."""
    inside = INSIDE.fullmatch(text)
    if inside:
        return float(f"{inside[1]}.{inside[3]}") * PREFIXES[inside[2]]
    plain = PLAIN.fullmatch(text)
    value = math.nan
    if plain and plain[3] in PREFIXES:
        value = float(plain[1].replace(",", ".") + (plain[2] or "")) * PREFIXES[plain[3]]
    if not math.isfinite(value):
        raise UsageError(f"{text!r} is no value: write 47k, 4k7, 10n, 3.3")
    return value


def in_series(text: str) -> tuple[float, ...]:
    """Resistors in series, from the clip on: 33k is one, 4x7.5k+3k five. Raises UsageError."""
    parts: list[float] = []
    for term in text.split("+"):
        count, times, value = term.rpartition("x")
        if times and not re.fullmatch(r"\s*[1-9]\d?\s*", count):
            raise UsageError(f"{term!r} is no number of resistors: write 4x7.5k")
        parts += [number(value)] * (int(count) if times else 1)
    return tuple(parts)


def written(value: float, unit: str) -> str:
    """7500, "Ω" -> "7.5 kΩ"; 1e-8, "F" -> "10 nF"."""
    for factor, prefix in ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p")):
        if abs(value) >= factor * 0.9995:
            return f"{value / factor:.4g} {prefix}{unit}"
    return f"0 {unit}"


def written_series(parts_ohm: tuple[float, ...]) -> str:
    """(7500, 7500, 3000) -> "2 x 7.5 kΩ + 3 kΩ"."""
    groups: list[tuple[int, float]] = []
    for part in parts_ohm:
        if groups and groups[-1][1] == part:
            groups[-1] = (groups[-1][0] + 1, part)
        else:
            groups.append((1, part))
    return " + ".join((f"{count} x " if count > 1 else "") + written(part, "Ω") for count, part in groups)
