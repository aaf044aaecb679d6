"""Draws that more than one family uses. A severity is drawn from far inside a limit through it to far outside."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.random import Generator

T = TypeVar("T")


def around(rng: Generator, limit: float, spread: float = 8.0, near: float = 0.4) -> float:
    """Log-uniform from limit / spread to limit * spread; a share `near` of the draws within 20 % of the limit."""
    if rng.random() < near:
        return float(limit * np.exp(rng.uniform(-0.2, 0.2)))
    return float(limit * np.exp(rng.uniform(-np.log(spread), np.log(spread))))


def log_uniform(rng: Generator, low: float, high: float) -> float:
    """Between `low` and `high`, evenly on a logarithmic scale."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def one_of(rng: Generator, *choices: T) -> T:
    """One of the choices."""
    return choices[int(rng.integers(len(choices)))]


def chance(rng: Generator, share: float) -> bool:
    """True in `share` of the draws."""
    return bool(rng.random() < share)
