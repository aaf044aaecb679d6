"""What the judge answers: values only. Field names are those of `--json`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope, Verdict, scope_of


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's outcome, for the whole recording or for one phase of one crank (`crank` counted from 1).

    `value` and `limit` share the value's unit; None where there is no number. `reason` is one plain line for the user.
    `conformance` is the probability (JCGM 106) that the true value meets the limit. `voids` is True where nothing in the
    recording can be trusted, not even a fault that it shows. `tolerated` is what was tolerated, for the headline.
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
        """The bare value."""
        return None if self.value is None else self.value.value

    @property
    def uncertainty(self) -> float | None:
        """Expanded, k = 2."""
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

    Durations are bounds: shortest, best estimate, longest, seconds. `phase` holds most of it, `phases` all that it crosses.
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
        """By the best estimate."""
        return self.start_s + self.duration_s


@dataclass(frozen=True, slots=True)
class Border:
    """When a state changed: surely not before `early_s`, surely by `late_s`; `evidence` says what shows it."""

    early_s: float
    late_s: float
    evidence: str

    @property
    def at_s(self) -> float:
        """The middle."""
        return 0.5 * (self.early_s + self.late_s)


@dataclass(frozen=True, slots=True)
class Interval:
    """One state of the account, from `start_s` to `end_s`; `crank` is the crank (from 1) that it belongs to, None for none.

    `begins` is the border at its start with its width; what lies within a border's width is vague.
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
    """One crank. `by_lead`: seen by the starter lead. Speed is None where not asked for or refused; `speed_note` says why.

    `engine_ran_on`: it ran by itself afterwards, as far as `ran_on_evidence` says.
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
    """A likely cause with its confidence 0 to 1, the evidence in plain words, the next check with a meter and its cautions."""

    cause: str
    confidence: float
    evidence: str
    next_check: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FeedVerdict:
    """The verdict on the key feed alone (with the supply behind it)."""

    verdict: Verdict
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Everything the judge answers for one trace.

    `verdict` is the overall one: the worst of the feed's and of `other_faults` (worst first). `reasons` are its lines, `cautions`
    what stands beside `next_check`.
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
