"""What the judge answers: values only. Field names are those of `--json`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope, Verdict, scope_of


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's outcome, for the whole recording or for one phase of one crank.

    Attributes:
        check: What was checked.
        result: Pass, warn, fail, undecided or not measured.
        reason: One plain line for the user.
        value: The value compared, with its uncertainty and unit; None where there is no number.
        limit: What it was compared with, in the value's unit; None where there is no number.
        at_s: Where in the recording, seconds; None where it speaks of no moment.
        phase: The phase that it speaks of; None for the whole recording.
        crank: The crank, counted from 1; None where it speaks of the recording.
        conformance: Probability (JCGM 106) that the true value meets the limit, from 0 to 1; None where there is none.
        voids: True where nothing in the recording can be trusted if this is not met, not even a fault that it shows.
        tolerated: What was tolerated, for the headline; empty where nothing was.
    """

    check: CheckId
    result: Result
    reason: str
    value: Measured | None = None
    limit: float | None = None
    at_s: float | None = None
    phase: Phase | None = None
    crank: int | None = None
    conformance: float | None = None
    voids: bool = False
    tolerated: str = ""

    @property
    def scope(self) -> Scope:
        """What it speaks of."""
        return scope_of(self.check)

    @property
    def measured(self) -> float | None:
        """The bare value, in `unit`."""
        return None if self.value is None else self.value.value

    @property
    def uncertainty(self) -> float | None:
        """Expanded, k = 2, in `unit`."""
        return None if self.value is None else self.value.expanded

    @property
    def unit(self) -> str:
        """Of value, uncertainty and limit."""
        return "" if self.value is None else self.value.unit

    @property
    def blocks(self) -> bool:
        """Whether it bears on the key feed's verdict."""
        return self.scope is not Scope.OTHER


DropoutKind = Literal["counts", "short", "undecided", "tolerated", "with supply"]


@dataclass(frozen=True, slots=True)
class Dropout:
    """One stretch of the feed below the module's minimum, from its start to its end, whatever phases it crosses.

    Attributes:
        role: The lead.
        phase: The phase that holds most of it.
        start_s: Seconds from the start of the recording.
        duration_s: Best estimate, seconds.
        duration_low_s: At least, seconds.
        duration_high_s: At most, seconds.
        lowest_v: Lowest reading, volts.
        counts: As long as the shortest dropout that counts, by the best estimate.
        kind: "counts", "short" (too short to count), "undecided", "tolerated" or "with supply" (the battery took it down).
        phases: All phases that it crosses, in order.
    """

    role: str
    phase: Phase
    start_s: float
    duration_s: float
    duration_low_s: float
    duration_high_s: float
    lowest_v: float
    counts: bool
    kind: DropoutKind = "counts"
    phases: tuple[Phase, ...] = ()

    @property
    def end_s(self) -> float:
        """By the best estimate, seconds from the start of the recording."""
        return self.start_s + self.duration_s


@dataclass(frozen=True, slots=True)
class Border:
    """When a state changed.

    Attributes:
        early_s: Surely not before, seconds from the start of the recording.
        late_s: Surely by then, seconds from the start of the recording.
        evidence: What shows it.
    """

    early_s: float
    late_s: float
    evidence: str

    @property
    def at_s(self) -> float:
        """The middle, seconds from the start of the recording."""
        return 0.5 * (self.early_s + self.late_s)


@dataclass(frozen=True, slots=True)
class Interval:
    """One state of the account.

    Attributes:
        name: "key off", "key on", "key turn", "crank", "release" or "after".
        start_s: Its start, seconds from the start of the recording.
        end_s: Its end, seconds from the start of the recording.
        begins: The border at its start with its width; what lies within a border's width is vague.
        crank: The crank (from 1) that it belongs to, None for none.
    """

    name: Phase
    start_s: float
    end_s: float
    begins: Border
    crank: int | None = None


FeedState = Literal["good", "low", "not shown"]


@dataclass(frozen=True, slots=True)
class FeedSpan:
    """What was shown of the feed between two times, seconds: good, low (with the key off too), or not shown."""

    state: FeedState
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Crank:
    """One crank.

    Attributes:
        start_s: Its start, seconds from the start of the recording.
        end_s: Its end, seconds from the start of the recording.
        speed_rpm: Crank speed, rpm; None where not asked for or refused.
        speed_uncertainty_rpm: Of the speed, rpm, expanded (k = 2); None where there is no speed.
        speed_note: Why there is no speed.
        engine_ran_on: It ran by itself afterwards, as far as `ran_on_evidence` says.
        ran_on_evidence: What says so.
        by_lead: Seen by the starter lead.
    """

    start_s: float
    end_s: float
    speed_rpm: float | None = None
    speed_uncertainty_rpm: float | None = None
    speed_note: str = ""
    engine_ran_on: bool = False
    ran_on_evidence: str = ""
    by_lead: bool = False


@dataclass(frozen=True, slots=True)
class Cause:
    """A likely cause with its evidence and the next check with a meter.

    Attributes:
        cause: Its id, as in the page on diagnosis.
        confidence: From 0 to 1, our judgement.
        evidence: In plain words.
        next_check: With a meter; empty where there is none.
        cautions: What to mind beside that check.
    """

    cause: str
    confidence: float
    evidence: str
    next_check: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FeedVerdict:
    """The verdict on the key feed alone (with the supply behind it).

    Attributes:
        verdict: PASS, FAIL or NO VERDICT.
        reasons: Its lines.
    """

    verdict: Verdict
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Everything the judge answers for one trace.

    Attributes:
        verdict: The overall one: the worst of the feed's and of `other_faults`.
        reasons: Its lines, the most telling first.
        findings: Every obligation and check, for the recording, each crank and each phase.
        dropouts: Each loss of the feed once, whole, in time order.
        phases: The recording as intervals without gap or overlap.
        cranks: In time order.
        assumptions: What was taken as given, a line each.
        not_measured: What this recording says nothing about, a line each.
        likely_causes: The likeliest first; empty where the evidence favours none.
        next_check: What to do first; empty where there is nothing.
        extra: `measured_against`: what the feed was measured to. `source`: the lead that stands for the feed's source.
        feed: The key feed alone, with the supply behind it.
        other_faults: Faults found beside the feed, worst first.
        tolerated: What was tolerated, for the headline.
        feed_account: What was shown of the feed, without gap or overlap from the first sample to the last.
        schema: Number of the form that `--json` prints.
        cautions: What stands beside `next_check`.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    findings: tuple[Finding, ...]
    dropouts: tuple[Dropout, ...]
    phases: tuple[Interval, ...]
    cranks: tuple[Crank, ...]
    assumptions: tuple[str, ...]
    not_measured: tuple[str, ...]
    likely_causes: tuple[Cause, ...] = ()
    next_check: str = ""
    extra: dict[str, object] = field(default_factory=dict)
    feed: FeedVerdict = FeedVerdict(Verdict.NO_VERDICT, ())
    other_faults: tuple[Finding, ...] = ()
    tolerated: tuple[str, ...] = ()
    feed_account: tuple[FeedSpan, ...] = ()
    schema: int = 2
    cautions: tuple[str, ...] = ()
