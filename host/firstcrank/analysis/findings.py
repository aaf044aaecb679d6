"""What the judge says: values only, no logic. Field names are those of `--json` and do not change."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, Literal

Result = Literal["pass", "fail", "warn", "no verdict", "not measured"]
Verdict = Literal["PASS", "FAIL", "NO VERDICT"]
PHASES = ("key off", "key on", "key turn", "crank", "release", "after")


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's outcome. `measured`, `uncertainty` (expanded, k = 2) and `limit` in `unit`; None where no number.

    `reason` is one plain line for the user. `conformance` is the probability (JCGM 106) that the true value meets
    the limit, None where there is no number. `blocks` is False for a finding that never decides the key-feed
    verdict (the battery's warnings, a hint).
    """

    check: str
    result: Result
    reason: str
    measured: float | None = None
    uncertainty: float | None = None
    limit: float | None = None
    unit: str = ""
    at_s: float | None = None
    phase: str | None = None
    conformance: float | None = None
    blocks: bool = True


@dataclass(frozen=True, slots=True)
class Dropout:
    """A stretch of the feed below the module's minimum. Durations are bounds: shortest, best estimate, longest."""

    role: str
    phase: str
    start_s: float
    duration_s: float
    duration_low_s: float
    duration_high_s: float
    lowest_v: float
    counts: bool


@dataclass(frozen=True, slots=True)
class Phase:
    """A named stretch of the recording; name from PHASES."""

    name: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Crank:
    """One crank. Speed is None where not asked for or refused; `speed_note` says why in plain words."""

    start_s: float
    end_s: float
    speed_rpm: float | None = None
    speed_uncertainty_rpm: float | None = None
    speed_note: str = ""
    engine_ran_on: bool = False


@dataclass(frozen=True, slots=True)
class Cause:
    """A likely cause with its confidence 0 to 1, the evidence in plain words, and the next check with a meter."""

    cause: str
    confidence: float
    evidence: str
    next_check: str


@dataclass(frozen=True, slots=True)
class Context:
    """What the recording cannot show and the user was asked. None: not asked, so it is stated as an assumption.

    `cranked_with_key`: cranked with the vehicle's own key or start button. `module_plugged_in`. `feed_kind`
    "signal" or "loaded". `cylinders`, `temperature_c`, `charger_connected`, `engine_running`, `known_load_ohm`,
    `hold_on_s` (how long the module holds itself on after key off, maker's figure).
    """

    cranked_with_key: bool | None = None
    module_plugged_in: bool | None = None
    feed_kind: str = "signal"
    cylinders: int | None = None
    temperature_c: float | None = None
    charger_connected: bool | None = None
    engine_running: bool | None = None
    known_load_ohm: float | None = None
    hold_on_s: float | None = None


ANSWERS = tuple(field.name for field in fields(Context))


@dataclass(frozen=True, slots=True)
class Judgement:
    """Everything the judge says of one trace."""

    verdict: Verdict
    reasons: tuple[str, ...]
    findings: tuple[Finding, ...]
    dropouts: tuple[Dropout, ...]
    phases: tuple[Phase, ...]
    cranks: tuple[Crank, ...]
    assumptions: tuple[str, ...]
    not_measured: tuple[str, ...]
    likely_causes: tuple[Cause, ...] = ()
    next_check: str = ""
    extra: dict[str, Any] = field(default_factory=dict)
