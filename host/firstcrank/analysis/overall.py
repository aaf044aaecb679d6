"""The rule of the verdict, in one place: the feed by its obligations, the whole by the worst of feed and other faults."""

from __future__ import annotations

from firstcrank.analysis.obligations.supply import lowest_while_live
from firstcrank.analysis.view import View
from firstcrank.model.fault_order import DROP_CHECKS, FAULT_ORDER
from firstcrank.model.judgement import FeedVerdict, Finding
from firstcrank.model.vocabulary import LIVE_PHASES, CheckId, Phase, Result, Scope, Verdict
from firstcrank.units import format_voltage

PHASE_ORDER = (Phase.CRANK, Phase.TURN, Phase.RELEASE, Phase.AFTER, Phase.KEY_ON)


def feed_verdict(view: View, obligations: tuple[Finding, ...]) -> FeedVerdict:
    """FAIL where an obligation on feed or supply is missed, NO VERDICT where any is undecided, else PASS."""
    voided = tuple(f.reason for f in obligations if f.voids and f.result is not Result.PASS)
    if voided:
        return FeedVerdict(Verdict.NO_VERDICT, tuple(dict.fromkeys(voided)))
    lacking = _evidence(obligations)
    failed = _lines(view, obligations, Result.FAIL)
    if failed:
        return FeedVerdict(Verdict.FAIL, (*failed, *(f"also: {line}" for line in lacking)))
    undecided = _lines(view, obligations, Result.UNDECIDED)
    if lacking or undecided:
        return FeedVerdict(Verdict.NO_VERDICT, tuple(dict.fromkeys((*lacking, *undecided))))
    return FeedVerdict(Verdict.PASS, (_held(view, obligations),))


def _evidence(obligations: tuple[Finding, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(f.reason for f in obligations if f.scope is Scope.EVIDENCE and f.result is not Result.PASS))


def _lines(view: View, obligations: tuple[Finding, ...], result: Result) -> tuple[str, ...]:
    """Lines of the findings on feed and supply with this result, the most telling first; a loss is told once.

    A drop is not told beside a loss that its window touches: it is the same thing.
    """
    chosen = [f for f in obligations if f.scope in (Scope.FEED, Scope.SUPPLY) and f.result is result]
    if any(f.check in (CheckId.FEED_DROPOUT, CheckId.SUPPLY_MINIMUM) for f in chosen):
        chosen = [f for f in chosen if f.check not in DROP_CHECKS or not _touches_a_loss(view, f)]
    chosen.sort(key=_rank)
    return tuple(dict.fromkeys(_line(f) for f in chosen))


def _touches_a_loss(view: View, finding: Finding) -> bool:
    at_s = finding.at_s if finding.at_s is not None else 0.0
    end_s = at_s + view.th.feed.steady_s + view.limits["turn_bounce_max_s"]
    return any(d.start_s < end_s and d.end_s > at_s for d in view.dropouts if d.kind in ("counts", "undecided", "with supply"))


def _rank(finding: Finding) -> tuple[int, int]:
    phase = PHASE_ORDER.index(finding.phase) if finding.phase in PHASE_ORDER else len(PHASE_ORDER)
    return (finding.check in DROP_CHECKS, phase)


def _line(finding: Finding) -> str:
    spoken = finding.scope is Scope.SUPPLY or finding.check is CheckId.FEED_ABOVE_SOURCE
    return finding.reason if spoken else f"key feed {finding.reason}"


def _held(view: View, obligations: tuple[Finding, ...]) -> str:
    chosen = view.in_phase(Phase.TURN, Phase.CRANK, Phase.RELEASE) & ~view.tolerated_bins()
    chosen = chosen if chosen.any() else view.in_phase(*LIVE_PHASES)
    lowest_v = float(view.feed.lowest_v[chosen].min()) if chosen.any() else lowest_while_live(view).value
    longest_s = max(c.end_s - c.start_s for c in view.cranks)
    count = (
        f"{len(view.cranks)} cranks, the longest {longest_s:.1f} s,"
        if len(view.cranks) > 1
        else f"{longest_s:.1f} s of cranking"
    )
    text = f"the key feed held with the key ON, through the turn, {count} and the release; lowest {format_voltage(lowest_v)}"
    tolerated = list(dict.fromkeys(f.tolerated for f in obligations if f.tolerated))
    if view.key.between:
        tolerated.append("the key taken as off between the cranks")
    return text + (f". Tolerated: {'; '.join(tolerated)}" if tolerated else "")


def other_faults(others: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Faults found beside the feed, the worst first."""
    faults = [f for f in others if f.scope is Scope.OTHER and f.result is Result.FAIL]
    return tuple(sorted(faults, key=lambda f: FAULT_ORDER.index(f.check) if f.check in FAULT_ORDER else len(FAULT_ORDER)))


def undecided_others(others: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Checks beside the feed that lie too close to a limit whose other side is a fault."""
    return tuple(f for f in others if f.check in FAULT_ORDER and f.result is Result.UNDECIDED)


def overall(feed: FeedVerdict, faults: tuple[Finding, ...], undecided: tuple[Finding, ...]) -> tuple[Verdict, tuple[str, ...]]:
    """The worst of both, with the lines of both: undecided is undecided everywhere."""
    if not faults:
        lines = tuple(f"{f.reason}: too close to its limit to tell" for f in undecided)
        if lines and feed.verdict is Verdict.PASS:
            return Verdict.NO_VERDICT, (*lines, *feed.reasons)
        return feed.verdict, feed.reasons
    lines = tuple(f"other fault found: {f.reason}" for f in faults)
    return Verdict.FAIL, (*feed.reasons, *lines) if feed.verdict is Verdict.FAIL else (*lines, *feed.reasons)
