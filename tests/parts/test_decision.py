"""The decision rule with figures that are none: not finite, negative. Source: JCGM 106, 8.2 (guarded acceptance), for the rule itself."""

from __future__ import annotations

import math

import pytest

from firstcrank.analysis.decision import decide, result_of
from firstcrank.model.vocabulary import Result


@pytest.mark.parametrize("numbers", [(math.nan, 0.1, 1.0), (1.0, math.inf, 1.0), (1.0, 0.1, -math.inf), (1.0, -0.1, 1.0)])
def test_what_is_no_number_is_refused(numbers: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="cannot decide"):
        decide(*numbers, "above")


@pytest.mark.parametrize(
    ("measured", "must_be", "outcome", "conformance"),
    [
        (2.0, "above", "met", 1.0),
        (1.5, "above", "met", 1.0),
        (1.0, "above", "undecided", 0.5),
        (0.5, "above", "missed", 0.0),
        (0.0, "above", "missed", 0.0),
        (0.5, "below", "met", 1.0),
        (1.5, "below", "missed", 0.0),
    ],
)
def test_without_uncertainty_only_equality_is_undecided(
    measured: float, must_be: str, outcome: str, conformance: float
) -> None:
    decision = decide(measured, 0.0, 1.0, must_be)  # type: ignore[arg-type]
    assert (decision.outcome, decision.conformance, decision.expanded) == (outcome, conformance, 0.0)


def test_a_finding_takes_the_decision_and_what_a_miss_means() -> None:
    met, between, missed = (decide(v, 0.1, 1.0, "above") for v in (1.5, 1.1, 0.5))
    assert [result_of(d) for d in (met, between, missed)] == [Result.PASS, Result.UNDECIDED, Result.FAIL]
    assert [result_of(d, Result.WARN) for d in (met, between, missed)] == [Result.PASS, Result.UNDECIDED, Result.WARN]
