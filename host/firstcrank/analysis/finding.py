"""The one builder of findings that compare a measured value with a limit."""

from __future__ import annotations

from firstcrank.analysis.decision import decide, result_of
from firstcrank.model.judgement import Finding
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result


def compared(
    check: CheckId,
    value: Measured,
    text: str,
    *,
    below: float | None = None,
    above: float | None = None,
    missed: Result = Result.FAIL,
    undecided: Result = Result.UNDECIDED,
    at_s: float | None = None,
    phase: Phase | None = None,
    crank: int | None = None,
) -> Finding:
    """Holds `value` against the one limit given: it must stay below, or above.

    `missed` is what a missed limit means for this check, `undecided` what a value inside the guard band means. Raises
    ValueError unless exactly one of `below` and `above` is given.
    """
    if (below is None) == (above is None):
        raise ValueError("give one limit: below or above")
    limit = below if below is not None else above
    assert limit is not None
    decision = decide(value.value, value.u, limit, "below" if below is not None else "above")
    result = result_of(decision, missed)
    if result is Result.UNDECIDED:
        result = undecided
    return Finding(check, result, text, value, limit, at_s, phase, crank, decision.conformance)
