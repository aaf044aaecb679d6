"""Scales used at the edges. Inside the host one scale per quantity: volts and seconds, as floats."""

from __future__ import annotations

from datetime import UTC, datetime

US_PER_S = 1_000_000.0
MS_PER_S = 1_000.0


def format_duration(seconds: float) -> str:
    """A duration as a person reads it: microseconds below 1 ms, milliseconds below 1 s, else seconds."""
    magnitude = abs(seconds)
    if magnitude < 1e-3:
        return f"{seconds * US_PER_S:.0f} µs"
    if magnitude < 1.0:
        return f"{seconds * MS_PER_S:.3g} ms"
    return f"{seconds:.2f} s"


def format_voltage(volts: float) -> str:
    """A voltage as a person reads it: two decimals."""
    return f"{volts + 0.0:.2f} V" if abs(volts) >= 0.005 else "0 V"


def local_time(utc: str) -> str:
    """UTC text as local time with its offset; the text itself where it is none."""
    try:
        when = datetime.fromisoformat(utc)
    except ValueError:
        return utc
    when = when if when.tzinfo else when.replace(tzinfo=UTC)
    return when.astimezone().strftime("%Y-%m-%d %H:%M %z")


def sentence(text: str) -> str:
    """A text with its first letter capitalised."""
    return text[:1].upper() + text[1:]


def counted(count: int, noun: str) -> str:
    """`1 start`, `2 starts`: a number and what it counts, regular nouns only."""
    return f"{count} {noun}{'' if count == 1 else 's'}"
