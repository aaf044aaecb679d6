"""A start as a common logger writes it: one reading a row, its own gain, offset, noise and resolution, its own dialect."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.strangers.plan import Plan

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CsvStart:
    """Text of the file, its columns by role where they have names of their own, and the stated accuracy (relative, volts)."""

    text: str
    columns: dict[str, str] | None
    accuracy: tuple[float, float] | None


def stated(p: Plan) -> tuple[float, float]:
    """The accuracy a data sheet states: 0.1 to 1 % and 10 to 50 mV at 12 V; the shipped 0.5 % + 20 mV in half of the draws."""
    rng = np.random.default_rng([p.seed, 61])
    if rng.random() < 0.5:
        return 0.005, 0.020
    return float(rng.choice([0.001, 0.002, 0.01])), float(rng.choice([0.01, 0.02, 0.05]))


def write(rng: Generator, p: Plan, t: Floats, clips: dict[str, Floats]) -> CsvStart:
    """Rows at the logger's rate."""
    tricks = p.record.tricks
    rate = p.record.rate_hz
    rows = int((p.record.end_s - p.record.begin_s) * rate)
    at = p.record.begin_s + np.arange(rows) / rate
    sample_round = at
    if "held_hz" in tricks:
        sample_round = np.floor(at * tricks["held_hz"]) / tricks["held_hz"]
    accuracy = stated(p)
    bits = tricks.get("bits", int(rng.choice([12, 14, 16])))
    span = tricks.get("range_v", 25.0 * p.scale)
    step = 2 * span / 2**bits if bits > 8 else span / 2**bits
    noise = max(rng.uniform(0.002, 0.012) * p.scale, 0.3 * step if bits > 8 else 0.0)
    columns: list[list[str]] = []
    frozen = tricks.get("frozen")
    decimals = 3 if step > 2e-3 else 4
    comma = bool(rng.random() < 0.2)
    for role, v in clips.items():
        gain = 1.0 + rng.uniform(-accuracy[0], accuracy[0])
        offset = rng.uniform(-accuracy[1], accuracy[1])
        x = np.interp(sample_round, t, v)
        if "spikes" in tricks:
            for when, volts in tricks["spikes"]:
                k = int((when - p.record.begin_s) * rate)
                if 0 <= k < rows:
                    x[k] += volts
        x = x * gain + offset
        y = rng.standard_normal(rows) * noise
        if "held_hz" in tricks:
            first = np.concatenate(([True], np.diff(sample_round) > 0))
            y = y[first][np.cumsum(first) - 1]
        x = x + y
        if frozen and frozen[0] == role:
            a, b = np.searchsorted(at, frozen[1:])
            x[a:b] = x[min(a, rows - 1)]
        if "flat_v" in tricks:
            x = np.minimum(x, tricks["flat_v"])
        code = np.rint(x / step).astype(np.int64)
        columns.append(_texts(code, step, decimals, comma))
    return _text(rng, p, at, columns, list(clips), comma, accuracy)


def _texts(code: NDArray[np.int64], step: float, decimals: int, comma: bool) -> list[str]:
    """Text of each code, each value written once."""
    values, back = np.unique(code, return_inverse=True)
    texts = [f"{v * step:.{decimals}f}" for v in values.tolist()]
    if comma:
        texts = [x.replace(".", ",") for x in texts]
    return [texts[i] for i in back.tolist()]


def _text(
    rng: Generator, p: Plan, at: Floats, columns: list[list[str]], roles: list[str], comma: bool, accuracy: tuple[float, float]
) -> CsvStart:
    tricks = p.record.tricks
    unit, factor, places = [("t_s", 1.0, 6), ("t_ms", 1e3, 3), ("t_us", 1e6, 0)][int(rng.integers(3))]
    shown = at * factor
    if tricks.get("stamps") == "coarse":
        shown = np.floor(at * 1000.0) / 1000.0 * factor  # milliseconds only
    delimiter = ";" if comma else str(rng.choice([",", ",", ";", "\t"]))
    stamps = [f"{x:.{places}f}" for x in shown.tolist()]
    if comma:
        stamps = [x.replace(".", ",") for x in stamps]
    rows = [delimiter.join(row) for row in zip(stamps, *columns, strict=True)]
    if tricks.get("stamps") == "block" and len(rows) > 2000:
        k = int(rng.integers(500, len(rows) - 1000))
        rows[k:k] = rows[k - 100 : k]
    named: dict[str, str] | None = None
    names = [unit, *(role + "_v" for role in roles)]
    if rng.random() < 0.2:
        names = [unit, *(f"CH{k + 1}" for k in range(len(roles)))]
        named = {role: f"CH{k + 1}" for k, role in enumerate(roles)}
    end = "\r\n" if rng.random() < 0.3 else "\n"
    text = delimiter.join(names) + end + end.join(rows) + end
    return CsvStart(text, named, accuracy)
