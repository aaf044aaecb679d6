"""A judgement as plain values: the object that `judge --json` prints and that the record store keeps."""

from __future__ import annotations

import json
import math
from typing import Any

from firstcrank.analysis.findings import Cause, Crank, Dropout, Finding, Judgement, Phase


def to_table(judgement: Judgement, file: str = "") -> dict[str, Any]:
    """Keys are never renamed; null where there is no number."""
    table: dict[str, Any] = {
        "file": file,
        "verdict": judgement.verdict,
        "reasons": list(judgement.reasons),
        "findings": [
            {
                "check": f.check,
                "result": f.result,
                "measured": f.measured,
                "uncertainty": f.uncertainty,
                "limit": f.limit,
                "unit": f.unit,
                "at_s": f.at_s,
                "phase": f.phase,
                "conformance": f.conformance,
                "reason": f.reason,
                "blocks": f.blocks,
            }
            for f in judgement.findings
        ],
        "dropouts": [
            {
                "role": d.role,
                "phase": d.phase,
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
            }
            for c in judgement.cranks
        ],
        "assumptions": list(judgement.assumptions),
        "not_measured": list(judgement.not_measured),
        "likely_causes": [
            {"cause": c.cause, "confidence": c.confidence, "evidence": c.evidence, "next_check": c.next_check}
            for c in judgement.likely_causes
        ],
        "next_check": judgement.next_check,
        "phases": [{"name": p.name, "start_s": p.start_s, "end_s": p.end_s} for p in judgement.phases],
        "extra": judgement.extra,
    }
    plain = _plain(table)
    assert isinstance(plain, dict)
    return plain


def to_line(judgement: Judgement, file: str) -> str:
    """One line of JSON."""
    return json.dumps(to_table(judgement, file), ensure_ascii=False, allow_nan=False)


def from_table(table: dict[str, Any]) -> Judgement:
    """Undoes to_table, for a judgement kept in the record store. Raises KeyError or TypeError for a foreign table."""
    return Judgement(
        verdict=table["verdict"],
        reasons=tuple(table["reasons"]),
        findings=tuple(Finding(**f) for f in table["findings"]),
        dropouts=tuple(Dropout(**d) for d in table["dropouts"]),
        phases=tuple(Phase(**p) for p in table["phases"]),
        cranks=tuple(Crank(**c) for c in table["cranks"]),
        assumptions=tuple(table["assumptions"]),
        not_measured=tuple(table["not_measured"]),
        likely_causes=tuple(Cause(**c) for c in table["likely_causes"]),
        next_check=table.get("next_check", ""),
        extra=dict(table.get("extra", {})),
    )


def _plain(value: Any) -> Any:
    """Numbers of numpy as Python's, and what is not finite as null."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    number = float(value)
    return number if math.isfinite(number) else None
