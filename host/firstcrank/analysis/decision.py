"""The decision rule: a limit is met or missed only where the measurement clears it by its expanded uncertainty.

JCGM 106:2012: guard band w = U = k * u with k = 2 on both sides, so what lies between is undecided. The probability of
conformance is that of a normal distribution about the measured value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from firstcrank.model.measured import COVERAGE
from firstcrank.model.vocabulary import Result

Outcome = Literal["met", "missed", "undecided"]


@dataclass(frozen=True, slots=True)
class Decision:
    """`conformance` is the probability 0 to 1 that the true value meets the limit; `expanded` is U = k * u."""

    outcome: Outcome
    conformance: float
    expanded: float


def decide(measured: float, u: float, limit: float, must_be: Literal["above", "below"]) -> Decision:
    """Whether a value with standard uncertainty `u` meets a limit it must stay above or below.

    A value that meets the limit exactly, or lies inside the guard band, is undecided: never a pass by rounding.
    With u = 0 only equality is undecided. Raises ValueError for a number that is not finite or a negative u.
    """
    if not (math.isfinite(measured) and math.isfinite(u) and math.isfinite(limit)) or u < 0:
        raise ValueError(f"cannot decide {measured} with u {u} against {limit}")
    margin = measured - limit if must_be == "above" else limit - measured
    expanded = COVERAGE * u
    return Decision(_outcome(margin, expanded), _conformance(margin, u), expanded)


def _outcome(margin: float, expanded: float) -> Outcome:
    if margin > expanded:
        return "met"
    if margin < -expanded:
        return "missed"
    return "undecided"


def _conformance(margin: float, u: float) -> float:
    if u == 0:
        return 0.5 if margin == 0 else float(margin > 0)
    return 0.5 * (1.0 + math.erf(margin / u / math.sqrt(2.0)))


def result_of(decision: Decision, missed: Result = Result.FAIL) -> Result:
    """The finding's result for a decision; `missed` is what a missed limit means for this check."""
    if decision.outcome == "met":
        return Result.PASS
    return missed if decision.outcome == "missed" else Result.UNDECIDED
