"""A judgement as plain values: the object that `judge --json` prints and that the record store keeps.

Schema 2: `verdict` is the overall one, `feed.verdict` the key feed's, `other_faults` what else was found. Objects of schema 1 (no
`schema` key; `verdict` was the feed's) are still read.
"""

from __future__ import annotations

import json
import math
from typing import SupportsFloat

from firstcrank.model.judgement import (
    Border,
    Cause,
    Crank,
    Dropout,
    FeedSpan,
    FeedVerdict,
    Finding,
    Interval,
    Judgement,
)
from firstcrank.model.judgement_table import CauseTable, DropoutTable, FindingTable, JudgementTable, PhaseTable
from firstcrank.model.measured import COVERAGE, Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope, Verdict

SCHEMA = 2


def to_table(judgement: Judgement, file: str = "") -> dict[str, object]:
    """Keys are never renamed; null where there is no number."""
    table: dict[str, object] = {
        "schema": SCHEMA,
        "file": file,
        "verdict": judgement.verdict,
        "reasons": list(judgement.reasons),
        "feed": {
            "verdict": judgement.feed.verdict,
            "reasons": list(judgement.feed.reasons),
            "tolerated": list(judgement.tolerated),
            "account": [{"state": s.state, "start_s": s.start_s, "end_s": s.end_s} for s in judgement.feed_account],
        },
        "other_faults": [_finding(f) for f in judgement.other_faults],
        "findings": [_finding(f) for f in judgement.findings],
        "dropouts": [
            {
                "role": d.role,
                "phase": d.phase,
                "phases": list(d.phases),
                "kind": d.kind,
                "start_s": d.start_s,
                "duration_s": d.duration_s,
                "duration_low_s": d.duration_low_s,
                "duration_high_s": d.duration_high_s,
                "lowest_v": d.lowest_v,
                "counts": d.counts,
            }
            for d in judgement.dropouts
        ],
        "cranks": [
            {
                "start_s": c.start_s,
                "end_s": c.end_s,
                "speed_rpm": c.speed_rpm,
                "speed_uncertainty_rpm": c.speed_uncertainty_rpm,
                "speed_note": c.speed_note,
                "engine_ran_on": c.engine_ran_on,
                "ran_on_evidence": c.ran_on_evidence,
                "by_lead": c.by_lead,
            }
            for c in judgement.cranks
        ],
        "assumptions": list(judgement.assumptions),
        "not_measured": list(judgement.not_measured),
        "likely_causes": [
            {
                "cause": c.cause,
                "confidence": c.confidence,
                "evidence": c.evidence,
                "next_check": c.next_check,
                "cautions": list(c.cautions),
            }
            for c in judgement.likely_causes
        ],
        "next_check": judgement.next_check,
        "cautions": list(judgement.cautions),
        "phases": [
            {
                "name": p.name,
                "start_s": p.start_s,
                "end_s": p.end_s,
                "crank": p.crank,
                "begins": {"early_s": p.begins.early_s, "late_s": p.begins.late_s, "evidence": p.begins.evidence},
            }
            for p in judgement.phases
        ],
        "extra": judgement.extra,
    }
    plain = _plain(table)
    assert isinstance(plain, dict)
    return plain


def _finding(f: Finding) -> dict[str, object]:
    return {
        "check": f.check,
        "scope": f.scope,
        "result": f.result,
        "measured": f.measured,
        "uncertainty": f.uncertainty,
        "limit": f.limit,
        "unit": f.unit,
        "at_s": f.at_s,
        "phase": f.phase,
        "crank": f.crank,
        "conformance": f.conformance,
        "reason": f.reason,
        "tolerated": f.tolerated,
        "voids": f.voids,
    }


def to_line(judgement: Judgement, file: str) -> str:
    """One line of JSON."""
    return json.dumps(to_table(judgement, file), ensure_ascii=False, allow_nan=False)


def from_table(table: JudgementTable) -> Judgement:
    """Undoes to_table, also of schema 1, for a judgement kept in the record store.

    Raises KeyError, TypeError or ValueError for a foreign table.
    """
    verdict, reasons = Verdict(table["verdict"]), tuple(table["reasons"])
    feed = table.get("feed")
    return Judgement(
        verdict=verdict,
        reasons=reasons,
        findings=tuple(_read_finding(f) for f in table["findings"]),
        dropouts=tuple(_read_dropout(d) for d in table["dropouts"]),
        phases=tuple(_read_phase(p) for p in table["phases"]),
        cranks=tuple(Crank(**c) for c in table["cranks"]),
        assumptions=tuple(table["assumptions"]),
        not_measured=tuple(table["not_measured"]),
        likely_causes=tuple(_read_cause(c) for c in table["likely_causes"]),
        next_check=table.get("next_check", ""),
        extra=dict(table.get("extra", {})),
        feed=FeedVerdict(Verdict(feed["verdict"]), tuple(feed["reasons"])) if feed else FeedVerdict(verdict, reasons),
        other_faults=tuple(_read_finding(f) for f in table.get("other_faults", ())),
        tolerated=tuple(feed["tolerated"]) if feed else (),
        feed_account=tuple(FeedSpan(**s) for s in feed["account"]) if feed else (),
        schema=int(table.get("schema", 1)),
        cautions=tuple(table.get("cautions", ())),
    )


def _read_finding(f: FindingTable) -> Finding:
    check, phase = _check_of(f["check"])
    named = f.get("phase")
    value = None
    if f["measured"] is not None:
        value = Measured(float(f["measured"]), float(f["uncertainty"] or 0.0) / COVERAGE, f["unit"])
    return Finding(
        check=check,
        result=Result(f["result"]),
        reason=f["reason"],
        value=value,
        limit=f["limit"],
        at_s=f["at_s"],
        phase=Phase(named) if named else phase,
        crank=f.get("crank"),
        conformance=f["conformance"],
        voids=bool(f.get("voids", False)),
        tolerated=f.get("tolerated", ""),
    )


def _check_of(text: str) -> tuple[CheckId, Phase | None]:
    """The check of an id; schema 1 put the phase behind a dot."""
    try:
        return CheckId(text), None
    except ValueError:
        name, _, phase = text.partition(".")
        return CheckId(name), Phase(phase.replace("_", " "))


def _read_cause(c: CauseTable) -> Cause:
    return Cause(c["cause"], c["confidence"], c["evidence"], c.get("next_check", ""), tuple(c.get("cautions", ())))


def _read_dropout(d: DropoutTable) -> Dropout:
    phase = Phase(d["phase"])
    return Dropout(
        role=d["role"],
        phase=phase,
        start_s=d["start_s"],
        duration_s=d["duration_s"],
        duration_low_s=d["duration_low_s"],
        duration_high_s=d["duration_high_s"],
        lowest_v=d["lowest_v"],
        counts=d["counts"],
        kind=d.get("kind", "counts" if d["counts"] else "short"),
        phases=tuple(Phase(p) for p in d.get("phases", ())) or (phase,),
    )


def _read_phase(p: PhaseTable) -> Interval:
    begins = p.get("begins") or {"early_s": p["start_s"], "late_s": p["start_s"], "evidence": ""}
    return Interval(Phase(p["name"]), p["start_s"], p["end_s"], Border(**begins), p.get("crank"))


def _plain(value: object) -> object:
    """Numbers of numpy as Python's, enums as their text, and what is not finite as null."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, CheckId | Phase | Result | Scope | Verdict):
        return value.value
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    if not isinstance(value, SupportsFloat):
        raise TypeError(f"{type(value).__name__} has no place in a judgement's table")
    number = float(value)
    return number if math.isfinite(number) else None
