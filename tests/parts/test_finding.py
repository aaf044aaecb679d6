"""The builder of findings that compare: one limit, its side, and what a miss and the guard band mean."""

from __future__ import annotations

import pytest

from firstcrank.analysis.finding import compared
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result

CHECK = CheckId.BATTERY_REST


@pytest.mark.parametrize(
    ("value", "side", "result"),
    [
        (0.79, "below", Result.PASS),
        (0.81, "below", Result.UNDECIDED),
        (1.19, "below", Result.UNDECIDED),
        (1.21, "below", Result.FAIL),
        (1.21, "above", Result.PASS),
        (1.19, "above", Result.UNDECIDED),
        (0.81, "above", Result.UNDECIDED),
        (0.79, "above", Result.FAIL),
    ],
)
def test_one_limit_and_its_side(value: float, side: str, result: Result) -> None:
    """u is 0.1, so the guard band is 0.2 wide on both sides of 1."""
    measured = Measured(value, 0.1, "V")
    found = compared(CHECK, measured, "x", below=1.0) if side == "below" else compared(CHECK, measured, "x", above=1.0)
    assert (found.result, found.limit, found.value) == (result, 1.0, measured)


def test_what_a_miss_and_the_guard_band_mean() -> None:
    missed = compared(CHECK, Measured(2.0, 0.1), "x", below=1.0, missed=Result.WARN, undecided=Result.NOT_MEASURED)
    between = compared(CHECK, Measured(1.0, 0.1), "x", below=1.0, missed=Result.WARN, undecided=Result.NOT_MEASURED)
    assert (missed.result, between.result) == (Result.WARN, Result.NOT_MEASURED)
    assert between.conformance == 0.5


def test_a_limit_of_zero_is_a_limit() -> None:
    assert compared(CHECK, Measured(-1.0), "x", below=0.0).result is Result.PASS
    assert compared(CHECK, Measured(-1.0), "x", above=0.0).result is Result.FAIL


def test_where_it_was_found_is_kept() -> None:
    found = compared(CHECK, Measured(1.0), "text", above=0.5, at_s=3.0, phase=Phase.AFTER, crank=2)
    assert (found.check, found.reason, found.at_s, found.phase, found.crank) == (CHECK, "text", 3.0, Phase.AFTER, 2)


def test_exactly_one_limit() -> None:
    with pytest.raises(ValueError, match="one limit"):
        compared(CHECK, Measured(1.0), "x")
    with pytest.raises(ValueError, match="one limit"):
        compared(CHECK, Measured(1.0), "x", below=1.0, above=0.0)
