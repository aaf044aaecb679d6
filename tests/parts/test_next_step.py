"""The next step: of the evidence that lacks the first of the table, and nothing where a verdict was given."""

from __future__ import annotations

import pytest

from firstcrank.analysis import next_step as steps
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Result, Scope, Verdict, scope_of


def finding(check: CheckId, result: Result = Result.UNDECIDED) -> Finding:
    return Finding(check, result, "text")


def test_every_check_of_the_evidence_has_its_step() -> None:
    assert set(steps.NEXT) == {check for check in CheckId if scope_of(check) is Scope.EVIDENCE}
    assert all(advice.check.endswith(".") for advice in steps.NEXT.values())


@pytest.mark.parametrize("check", list(CheckId))
def test_the_step_of_each(check: CheckId) -> None:
    check = CheckId(check.value)
    expected = steps.NEXT.get(check, steps.TOO_CLOSE)
    assert steps.next_step(Verdict.NO_VERDICT, (finding(check),)) == expected
    for other in (Result.PASS, Result.WARN, Result.FAIL, Result.NOT_MEASURED):
        assert steps.next_step(Verdict.NO_VERDICT, (finding(check, other),)) == steps.TOO_CLOSE
    assert steps.next_step(Verdict.PASS, (finding(check),)) is None
    assert steps.next_step(Verdict.FAIL, (finding(check),)) is None


def test_of_several_the_first_in_the_tables_order() -> None:
    last_first = tuple(finding(check) for check in reversed(steps.NEXT))
    assert steps.next_step(Verdict.NO_VERDICT, last_first) == steps.NEXT[CheckId.RECORDING_KIND]
    later = (finding(CheckId.RECORDING_KIND, Result.PASS), finding(CheckId.PLAUSIBLE), finding(CheckId.CRANK_SEEN))
    assert steps.next_step(Verdict.NO_VERDICT, later) == steps.NEXT[CheckId.CRANK_SEEN]


def test_without_a_finding_the_answer_was_too_close_to_tell() -> None:
    assert steps.next_step(Verdict.NO_VERDICT, ()) == steps.TOO_CLOSE


def test_what_cranks_again_carries_the_caution() -> None:
    """Every step but those that only look or measure: K1 is the caution for cranking, K3 that for a module's plug."""
    quiet = {CheckId.CALIBRATED, CheckId.SYSTEM_VOLTAGE}
    assert {check for check, advice in steps.NEXT.items() if "K1" not in advice.standing} == quiet
    assert [check for check, advice in steps.NEXT.items() if "K3" in advice.standing] == [CheckId.MODULE_PLUGGED]
    assert "K1" in steps.TOO_CLOSE.standing
