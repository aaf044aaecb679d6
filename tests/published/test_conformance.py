"""The decision rule against JCGM 106:2012 (conformance probabilities, guard bands)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank.analysis.decision import decide

# JCGM 106:2012 7.3.3 examples 1 and 2: inputs from memory, probabilities recomputed with the normal distribution.
EXAMPLES = [
    (-5.47, 0.05, -5.40, "below", 0.919),
    (509.7, 8.6, 490.0, "above", 0.989),
]


@pytest.mark.parametrize(("measured", "u", "limit", "must_be", "probability"), EXAMPLES)
def test_examples_of_conformance(measured: float, u: float, limit: float, must_be: str, probability: float) -> None:
    assert decide(measured, u, limit, must_be).conformance == pytest.approx(probability, abs=5e-4)  # type: ignore[arg-type]


# Probability of conformance at an acceptance limit a guard band w inside, one-sided normal: standard normal table.
GUARD = [(0.0, 0.5), (1.0, 0.8413), (1.28155, 0.90), (1.64485, 0.95), (2.0, 0.97725)]


@pytest.mark.parametrize(("w_over_u", "probability"), GUARD)
def test_guard_band_probabilities(w_over_u: float, probability: float) -> None:
    u, limit = 0.03, 7.0
    assert decide(limit + w_over_u * u, u, limit, "above").conformance == pytest.approx(probability, abs=5e-5)


@given(st.floats(-50, 50), st.floats(1e-4, 5), st.floats(-50, 50))
def test_met_missed_and_undecided_are_one_partition(measured: float, u: float, limit: float) -> None:
    above, below = decide(measured, u, limit, "above"), decide(measured, u, limit, "below")
    opposite = {"met": "missed", "missed": "met", "undecided": "undecided"}
    assert below.outcome == opposite[above.outcome]
    assert above.conformance + below.conformance == pytest.approx(1.0)
    if above.outcome == "met":
        assert above.conformance > 0.977


@pytest.mark.parametrize(
    ("measured", "u", "outcome"),
    [  # guard band of k = 2 on either side (JCGM 106:2012 8.3.2), the factor written out
        (7.0, 0.0, "undecided"),
        (7.0, 0.01, "undecided"),
        (7.0 + 1.99 * 0.01, 0.01, "undecided"),
        (7.0 + 2.01 * 0.01, 0.01, "met"),
        (7.0 - 1.99 * 0.01, 0.01, "undecided"),
        (7.0 - 2.01 * 0.01, 0.01, "missed"),
        (7.0 + 1e-9, 0.0, "met"),
        (7.0 - 1e-9, 0.0, "missed"),
    ],
)
def test_a_limit_met_exactly_is_undecided(measured: float, u: float, outcome: str) -> None:
    assert decide(measured, u, 7.0, "above").outcome == outcome


@pytest.mark.parametrize(("measured", "u", "limit"), [(float("nan"), 0.1, 7.0), (7.0, -0.1, 7.0), (7.0, 0.1, float("inf"))])
def test_numbers_that_cannot_be_decided_are_refused(measured: float, u: float, limit: float) -> None:
    with pytest.raises(ValueError, match="cannot decide"):
        decide(measured, u, limit, "above")
