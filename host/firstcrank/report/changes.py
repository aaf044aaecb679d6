"""What changed between two cranks: each check of that crank, phase by phase, beside the same of the other start."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.model.judgement import Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope
from firstcrank.thresholds.files import FILES

SAME = "same"
GOOD = {Result.PASS: 2, Result.WARN: 1, Result.UNDECIDED: 1, Result.FAIL: 0}
WORST_FIRST = (Result.FAIL, Result.UNDECIDED, Result.WARN, Result.PASS)


@dataclass(frozen=True, slots=True)
class Change:
    """One check in one phase, in both cranks; None where there is no such finding. `words` says what changed."""

    check: CheckId
    phase: Phase | None
    before: Finding | None
    after: Finding | None
    difference_text: str

    @property
    def name(self) -> str:
        """Check and phase in plain words."""
        text = self.check.value.replace("_", " ").replace(".", " ")
        return f"{text}, {self.phase}" if self.phase and self.phase.value not in text else text


def changes(before: Judgement, after: Judgement, cranks: tuple[int, int] = (1, 1)) -> tuple[Change, ...]:
    """Every check of crank `cranks[0]` of one start and `cranks[1]` of the other (from 1), and of the recordings as a whole."""
    one, two = _of_crank(before, cranks[0]), _of_crank(after, cranks[1])
    return tuple(
        Change(*key, one.get(key), two.get(key), _difference_text(one.get(key), two.get(key)))
        for key in dict.fromkeys([*one, *two])
    )


def _of_crank(judgement: Judgement, which: int) -> dict[tuple[CheckId, Phase | None], Finding]:
    """Findings of one crank and those of no crank; of several alike the worst."""
    found: dict[tuple[CheckId, Phase | None], Finding] = {}
    for finding in judgement.findings:
        key = (finding.check, finding.phase)
        if finding.crank not in (None, which) or finding.result is Result.NOT_MEASURED:
            continue
        if key not in found or WORST_FIRST.index(finding.result) < WORST_FIRST.index(found[key].result):
            found[key] = finding
    return found


def crank_result(judgement: Judgement, which: int) -> Result | None:
    """Worst finding on feed and supply of one crank; None where findings are not told crank by crank (an older judgement)."""
    mine = [f.result for f in judgement.findings if f.crank == which and f.scope in (Scope.FEED, Scope.SUPPLY)]
    return min((r for r in mine if r in WORST_FIRST), key=WORST_FIRST.index, default=None)


def _difference_text(before: Finding | None, after: Finding | None) -> str:
    if before is None or after is None:
        return "only in the second" if before is None else "only in the first"
    if before.result != after.result:
        better = GOOD[after.result] > GOOD[before.result]
        return f"{before.result} before, {after.result} now{': better' if better else ''}"
    if before.measured is not None and after.measured is not None and before.unit == "V":
        change_v = after.measured - before.measured
        spread_v = ((before.uncertainty or 0.0) ** 2 + (after.uncertainty or 0.0) ** 2) ** 0.5
        if abs(change_v) > max(spread_v, FILES.changed_v):
            return f"{change_v:+.2f} V"
    return SAME
