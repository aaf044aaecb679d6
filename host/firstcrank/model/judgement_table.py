"""A judgement as plain values: what `--json` prints and the record store keeps, each key with what it means (docs/json.md).

Keys that a table of an earlier schema lacks are NotRequired; what is printed today has every key. The texts beside the types become the
JSON Schema's descriptions, an enum beside a type the words that a text may be (docs/json_schemas.py).
"""

from __future__ import annotations

from typing import Annotated, NotRequired, TypedDict

from firstcrank.model.judgement import DropoutKind, FeedState
from firstcrank.model.vocabulary import Phase, Result, Scope, Verdict


class SpanTable(TypedDict):
    """A stretch of the account of the feed."""

    state: Annotated[FeedState, "`good`, `low` (with the key off too) or `not shown`"]
    start_s: float
    end_s: float


class FeedTable(TypedDict):
    """The key feed alone, with the supply behind it."""

    verdict: Annotated[str, Verdict]
    reasons: Annotated[list[str], "its lines"]
    tolerated: Annotated[
        list[str], "what was tolerated: a bounce while the key travels, a supply dip that the module rides through"
    ]
    account: Annotated[list[SpanTable], "what was shown of the feed, without gap or overlap from the first sample to the last"]


class FindingTable(TypedDict):
    """The outcome of one obligation or check."""

    check: Annotated[str, "what was checked: `key_feed_dropout`, `battery_rest` ..."]
    scope: NotRequired[Annotated[str, Scope, "what it speaks of"]]
    result: Annotated[str, Result, "`pass`, `warn`, `fail`, `no verdict` (undecided) or `not measured`"]
    measured: Annotated[float | None, "the value compared, in `unit`"]
    uncertainty: Annotated[float | None, "of the value, expanded (k = 2), in `unit`"]
    limit: Annotated[float | None, "what it was compared with, in `unit`"]
    unit: Annotated[str, "`V`, `s`, `ohm`, `rpm`; empty for a count or no value"]
    at_s: Annotated[float | None, "where in the recording"]
    phase: NotRequired[Annotated[str | None, Phase, "null where it speaks of no phase"]]
    crank: NotRequired[Annotated[int | None, "counted from 1; null where it speaks of the recording"]]
    conformance: Annotated[float | None, "probability 0 to 1 that the true value meets the limit (JCGM 106)"]
    reason: Annotated[str, "one plain line"]
    tolerated: NotRequired[Annotated[str, "what was tolerated here; empty where nothing was"]]
    voids: NotRequired[
        Annotated[bool, "true where nothing in the recording can be trusted if this is not met, not even a fault that it shows"]
    ]


class DropoutTable(TypedDict):
    """A loss of the feed, from its start to its end."""

    role: Annotated[str, "the lead"]
    phase: Annotated[str, Phase, "the phase that holds most of it"]
    phases: NotRequired[Annotated[list[str], Phase, "every phase that it crosses, in order"]]
    kind: NotRequired[
        Annotated[
            DropoutKind,
            "`counts`, `short` (too short to count), `undecided`, `tolerated` or `with supply` (the battery took it down)",
        ]
    ]
    start_s: float
    duration_s: Annotated[float, "best estimate"]
    duration_low_s: Annotated[float, "at least"]
    duration_high_s: Annotated[float, "at most"]
    lowest_v: float
    counts: Annotated[bool, "as long as the shortest dropout that counts, by the best estimate"]


class CrankTable(TypedDict):
    """A crank."""

    start_s: float
    end_s: float
    speed_rpm: NotRequired[Annotated[float | None, "null where it was not asked for or not to be told"]]
    speed_uncertainty_rpm: NotRequired[Annotated[float | None, "expanded (k = 2)"]]
    speed_note: NotRequired[Annotated[str, "why there is no speed"]]
    engine_ran_on: NotRequired[Annotated[bool, "the engine ran by itself afterwards"]]
    ran_on_evidence: NotRequired[Annotated[str, "what says so"]]
    by_lead: NotRequired[Annotated[bool, "seen by the starter lead"]]


class CauseTable(TypedDict):
    """A likely cause."""

    cause: Annotated[str, "id of the cause (docs/diagnosis.md)"]
    confidence: Annotated[float, "0 to 1, our judgement"]
    evidence: Annotated[str, "in plain words"]
    next_check: NotRequired[Annotated[str, "with a meter"]]
    cautions: NotRequired[Annotated[list[str], "what to mind beside that check"]]


class BorderTable(TypedDict):
    """How well a border is known."""

    early_s: Annotated[float, "surely not before"]
    late_s: Annotated[float, "surely by then"]
    evidence: Annotated[str, "what shows it"]


class PhaseTable(TypedDict):
    """An interval of the recording."""

    name: Annotated[str, Phase]
    start_s: float
    end_s: float
    crank: NotRequired[Annotated[int | None, "the crank that it belongs to"]]
    begins: NotRequired[Annotated[BorderTable, "how well the border at its start is known"]]


class ExtraTable(TypedDict, total=False):
    """What else was said of the judgement."""

    measured_against: Annotated[str, "what the feed was measured to: `module ground` or `battery negative`"]
    source: Annotated[str, "the lead that stands for the feed's source"]


class JudgementTable(TypedDict):
    """A judgement."""

    schema: NotRequired[int]
    file: NotRequired[Annotated[str, "the file as it was named; empty in the record store"]]
    verdict: Annotated[str, Verdict, "overall, the worst of the key feed's and of any other fault"]
    reasons: Annotated[
        list[str], "lines of the overall verdict, the most telling first; other faults before a feed that passes"
    ]
    feed: NotRequired[Annotated[FeedTable, "the key feed alone, with the supply behind it"]]
    findings: Annotated[list[FindingTable], "every obligation and check, for the recording, each crank and each phase"]
    other_faults: NotRequired[Annotated[list[FindingTable], "faults found beside the feed, the worst first"]]
    dropouts: Annotated[list[DropoutTable], "each loss of the feed once, whole, from its start to its end"]
    cranks: Annotated[list[CrankTable], "every crank"]
    assumptions: Annotated[list[str], "taken as given"]
    not_measured: Annotated[list[str], "what this recording says nothing about"]
    likely_causes: Annotated[list[CauseTable], "the likeliest first; empty where the evidence favours none"]
    next_check: NotRequired[Annotated[str, "what to do first; empty where there is nothing"]]
    cautions: NotRequired[Annotated[list[str], "what to mind beside `next_check`, in full"]]
    phases: Annotated[list[PhaseTable], "the recording as intervals without gap or overlap"]
    extra: NotRequired[ExtraTable]
