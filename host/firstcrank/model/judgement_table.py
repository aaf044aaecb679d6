"""A judgement as plain values: what `--json` prints and the record store keeps. docs/json.md says what each key means.

Keys that a table of an earlier schema lacks are NotRequired.
"""

from __future__ import annotations

from typing import NotRequired, TypedDict

from firstcrank.model.judgement import DropoutKind, FeedState


class FindingTable(TypedDict):
    """A finding. measured, uncertainty (95 %) and limit in `unit`; at_s in seconds of the recording."""

    check: str
    result: str
    reason: str
    measured: float | None
    uncertainty: float | None
    unit: str
    limit: float | None
    at_s: float | None
    conformance: float | None
    phase: NotRequired[str | None]
    crank: NotRequired[int | None]
    voids: NotRequired[bool]
    tolerated: NotRequired[str]


class CauseTable(TypedDict):
    """A likely cause; confidence 0 to 1."""

    cause: str
    confidence: float
    evidence: str
    next_check: NotRequired[str]
    cautions: NotRequired[list[str]]


class DropoutTable(TypedDict):
    """A loss of the feed; its length with bounds, seconds."""

    role: str
    phase: str
    start_s: float
    duration_s: float
    duration_low_s: float
    duration_high_s: float
    lowest_v: float
    counts: bool
    kind: NotRequired[DropoutKind]
    phases: NotRequired[list[str]]


class BorderTable(TypedDict):
    """Where a phase begins: between two times, and by which evidence."""

    early_s: float
    late_s: float
    evidence: str


class PhaseTable(TypedDict):
    """A phase of the start."""

    name: str
    start_s: float
    end_s: float
    begins: NotRequired[BorderTable]
    crank: NotRequired[int | None]


class CrankTable(TypedDict):
    """A crank."""

    start_s: float
    end_s: float
    speed_rpm: NotRequired[float | None]
    speed_uncertainty_rpm: NotRequired[float | None]
    speed_note: NotRequired[str]
    by_lead: NotRequired[bool]
    engine_ran_on: NotRequired[bool]
    ran_on_evidence: NotRequired[str]


class SpanTable(TypedDict):
    """A stretch of the account of the feed."""

    start_s: float
    end_s: float
    state: FeedState


class FeedTable(TypedDict):
    """The feed's own verdict."""

    verdict: str
    reasons: list[str]
    tolerated: list[str]
    account: list[SpanTable]


class JudgementTable(TypedDict):
    """The whole."""

    verdict: str
    reasons: list[str]
    findings: list[FindingTable]
    dropouts: list[DropoutTable]
    phases: list[PhaseTable]
    cranks: list[CrankTable]
    assumptions: list[str]
    not_measured: list[str]
    likely_causes: list[CauseTable]
    next_check: NotRequired[str]
    extra: NotRequired[dict[str, object]]
    feed: NotRequired[FeedTable]
    other_faults: NotRequired[list[FindingTable]]
    schema: NotRequired[int]
    cautions: NotRequired[list[str]]
