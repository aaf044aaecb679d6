"""One start judged by the product's public entry, with its grade beside it."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from firstcrank.errors import FirstcrankError
from firstcrank.limits import Limits, shipped
from firstcrank.model.context import Context
from firstcrank.trace import Trace
from tests.strangers.grader.grade import Grade, grade
from tests.strangers.start import StrangeStart, start

REFUSED = "REFUSED"
CRASHED = "CRASHED"


@dataclass(frozen=True, slots=True)
class Outcome:
    """Small enough to go between processes. `verdict` is overall, `feed` the feed's alone; `causes` in the judge's order."""

    seed: int
    family: str
    delivery: str
    kind: str
    by_u: float
    obligation: str
    what: str
    lacking: tuple[str, ...]
    unsure: tuple[str, ...]
    truth: frozenset[str]
    verdict: str
    feed: str
    causes: tuple[str, ...]
    reason: str
    heater: bool
    no_lead: bool
    quick: bool
    reported: bool


def context_of(s: StrangeStart) -> Context:
    """The answers as the product's type, less those that it does not know."""
    known = {f.name for f in fields(Context)}
    return Context(**{k: v for k, v in s.plan.record.answers.items() if k in known})


def read_one(seed: int, family: str | None) -> tuple[StrangeStart, Trace | None, Limits, Context, str]:
    """The start as a program reads it: (start, what was read or None, limits, answers, why it was refused)."""
    s = start(seed, family)
    limits, context = shipped(s.plan.system_v), context_of(s)
    try:
        if s.trace is not None:
            return s, s.trace, limits, context, ""
        if s.data is None:
            return s, _read_csv(s), limits, context, ""
        from firstcrank.tracefiles.native import from_bytes

        recording = from_bytes(s.data, None, f"stranger {seed}")
        return s, recording.trace, recording.limits or limits, recording.context, ""
    except FirstcrankError as error:
        return s, None, limits, context, str(error)


def judge_one(seed: int, family: str | None) -> tuple[StrangeStart, Grade, Any, Trace | None, str]:
    """The start, its grade, the judgement (None where the file was refused), what was read, and why it was refused."""
    from firstcrank.analysis.verdict import judge

    s, recorded, limits, context, refused = read_one(seed, family)
    return s, grade(s), None if recorded is None else judge(recorded, limits, context), recorded, refused


def _read_csv(s: StrangeStart) -> Trace:
    from firstcrank.tracefiles.csv import read_csv

    assert s.csv is not None
    with tempfile.TemporaryDirectory(prefix="stranger") as folder:
        path = Path(folder) / "start.csv"
        path.write_text(s.csv.text, "utf-8", newline="")
        return read_csv(path, s.csv.columns, s.csv.accuracy).trace


def outcome_of(seed: int, family: str | None = None) -> Outcome:
    """Judges and grades one start."""
    try:
        s, g, judgement, _, refused = judge_one(seed, family)
    except Exception as error:  # the judge must never raise: a crash is an outcome to count, not the run's end
        s = start(seed, family)
        g = grade(s)
        return _outcome(s, g, CRASHED, CRASHED, (), repr(error)[:120])
    if judgement is None:
        return _outcome(s, g, REFUSED, REFUSED, (), refused[:120])
    feed = getattr(judgement, "feed", None)
    feed_verdict = str(getattr(feed, "verdict", judgement.verdict))
    causes = tuple(str(getattr(c, "cause", c)) for c in judgement.likely_causes)
    reasons = getattr(feed, "reasons", None) or getattr(judgement, "reasons", None) or ("",)
    return _outcome(s, g, str(judgement.verdict), feed_verdict, causes, str(reasons[0])[:160])


def _outcome(s: StrangeStart, g: Grade, verdict: str, feed: str, causes: tuple[str, ...], reason: str) -> Outcome:
    p = s.plan
    return Outcome(
        seed=s.seed,
        family=s.family,
        delivery=p.record.delivery,
        kind=g.kind,
        by_u=g.worst.by_u if g.worst else float("-inf"),
        obligation=g.worst.obligation if g.worst else "",
        what=g.worst.what if g.worst else "",
        lacking=g.lacking,
        unsure=g.unsure,
        truth=g.causes,
        verdict=verdict,
        feed=feed,
        causes=causes,
        reason=reason,
        heater=bool(p.labels.get("heater")),
        no_lead="starter_coil" not in p.record.leads,
        quick=bool(p.labels.get("quick")),
        reported=p.record.answers.get("engine_running") is True,
    )
