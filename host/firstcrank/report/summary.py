"""What of a judgement is shown, for screen, record and page alike: headline, faults, rows without repetition, losses once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from firstcrank.model.fault_order import DO_NOT_CRANK, DROP_CHECKS
from firstcrank.model.judgement import Dropout, Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Result, Scope, Verdict

OTHER_FAULT = "OTHER FAULT FOUND"
DO_NOT_CRANK_AGAIN = "DO NOT CRANK AGAIN"
WORST_FIRST = (Result.FAIL, Result.UNDECIDED, Result.WARN, Result.PASS)
NEVER_SHOWN_AS_LOST = ("tolerated", "short")


def harmful(judgement: Judgement) -> bool:
    """Whether another crank would harm a part, or meet a module without supply."""
    return any(f.check in DO_NOT_CRANK for f in judgement.other_faults)


def large_lines(judgement: Judgement) -> tuple[str, ...]:
    """What stands in large letters: the verdict, or the feed's and beside it the other fault. Never PASS by itself over a fault."""
    if not judgement.other_faults and judgement.verdict == judgement.feed.verdict:
        return (str(judgement.verdict),)
    return (f"FEED {judgement.feed.verdict}", DO_NOT_CRANK_AGAIN if harmful(judgement) else OTHER_FAULT)


def one_line(judgement: Judgement) -> str:
    """Both verdicts in ordinary letters."""
    text = f"Key feed: {judgement.feed.verdict}"
    if not judgement.other_faults:
        return text
    warning = f": {DO_NOT_CRANK_AGAIN}" if harmful(judgement) else ""
    return f"{text}  {OTHER_FAULT}{warning}"


def cause_label(judgement: Judgement) -> str:
    """How the likeliest cause is announced: a doubt only where something failed."""
    return {Verdict.FAIL: "Probably", Verdict.PASS: "Note"}.get(judgement.verdict, "Perhaps")


def losses(judgement: Judgement) -> tuple[Dropout, ...]:
    """Losses that bear on the verdict, each once and whole; what was tolerated or too short to count is none."""
    return tuple(d for d in judgement.dropouts if _bears(judgement, d))


def _bears(judgement: Judgement, loss: Dropout) -> bool:
    """A dip with the supply bears on it only where the supply's own finding, of that crank or outside the cranks, does not hold."""
    if loss.kind == "with supply":
        inside = [n for n, c in enumerate(judgement.cranks, 1) if loss.start_s < c.end_s and loss.end_s > c.start_s]
        return any(
            f.check is CheckId.SUPPLY_MINIMUM
            and f.result in (Result.FAIL, Result.UNDECIDED)
            and (f.crank in inside if inside else f.crank is None)
            for f in judgement.findings
        )
    return loss.kind not in NEVER_SHOWN_AS_LOST and (loss.counts or loss.kind == "undecided")


def rows(judgement: Judgement) -> tuple[Finding, ...]:
    """Findings to list, the worst first: evidence that is complete as one row, a loss and a passing drop once each.

    A drop is not listed beside a loss in its own phase: it is the same thing.
    """
    shown = [f for f in judgement.findings if f.result is not Result.NOT_MEASURED]
    shown = _without_drops_of_losses(shown)
    shown = _worst_of_passing(shown)
    shown = _evidence_as_one(shown)
    once: dict[tuple[Result, str], Finding] = {}
    for finding in shown:
        once.setdefault((finding.result, finding.reason), finding)
    return tuple(sorted(once.values(), key=lambda f: WORST_FIRST.index(f.result)))


def _without_drops_of_losses(found: Sequence[Finding]) -> list[Finding]:
    lost_in = {
        (f.phase, f.crank)
        for f in found
        if f.check in (CheckId.FEED_DROPOUT, CheckId.SUPPLY_MINIMUM) and f.result in (Result.FAIL, Result.UNDECIDED)
    }
    return [
        f
        for f in found
        if f.check not in DROP_CHECKS or f.result not in (Result.FAIL, Result.UNDECIDED) or (f.phase, f.crank) not in lost_in
    ]


def _worst_of_passing(found: Sequence[Finding]) -> list[Finding]:
    """Of the drops that pass, the largest of each kind; of the feed against its source one line where every phase passes."""
    kept: list[Finding] = []
    for finding in found:
        if finding.result is Result.PASS and finding.check in DROP_CHECKS:
            mine = [f for f in found if f.check is finding.check and f.result is Result.PASS]
            if finding is not max(mine, key=lambda f: f.measured or 0.0):
                continue
        if finding.result is Result.PASS and finding.check is CheckId.FEED_ABOVE_SOURCE:
            finding = replace(finding, reason="the feed is not above its source", phase=None, crank=None)
        kept.append(finding)
    return kept


def _evidence_as_one(found: Sequence[Finding]) -> list[Finding]:
    passing = [f for f in found if f.scope is Scope.EVIDENCE and f.result is Result.PASS]
    rest = [f for f in found if f not in passing]
    if len(passing) < 2:
        return list(found)
    kinds = len({f.check for f in passing})
    missing = any(f.scope is Scope.EVIDENCE for f in rest)
    text = f"{kinds} conditions on the recording met" + (", not all" if missing else ": the evidence is complete")
    return [*rest, replace(passing[0], reason=text, value=None, limit=None, phase=None, crank=None, at_s=None)]
