"""A judgement reduced to what must not change by itself: every decision and number, and of each text only the numbers in it."""

from __future__ import annotations

import math
import re
from typing import Any

from firstcrank.analysis.as_json import to_table
from firstcrank.analysis.verdict import judge
from firstcrank.model.judgement import Judgement

from .also import also
from .corpus import Start

NUMBER = re.compile(r"\d+(?:\.\d+)?")
TEXTS = {
    "reason",
    "reasons",
    "evidence",
    "next_check",
    "cautions",
    "assumptions",
    "not_measured",
    "tolerated",
    "speed_note",
    "ran_on_evidence",
}
EMPTY: tuple[object, ...] = (None, [], "", {})
RELATIVE, ABSOLUTE = 2e-3, 2e-6


MOST = 24


def reduced(judgement: Judgement) -> dict[str, Any]:
    """Plain values; numbers of six digits; of long lists the first and how many there are; what merely passed by its name."""
    table = to_table(judgement)
    findings = table.pop("findings")
    assert isinstance(findings, list)
    plain = [f for f in findings if f["result"] == "pass" and f["measured"] is None]
    table["passed"] = " ".join(f"{f['check']}{f['crank'] or ''}{''.join(NUMBER.findall(f['reason']))}" for f in plain)
    table["findings"] = [f for f in findings if f not in plain]
    return {key: _plain(value, key) for key, value in table.items() if key not in ("schema", "file") and value not in EMPTY}


def found_in(start: Start | None) -> dict[str, Any] | None:
    """All that is said of one start of the corpus, as plain values; None where its file is refused."""
    if start is None:
        return None
    judgement = judge(start.trace, start.limits, start.context)
    more = also(start.trace, start.limits, judgement)
    return {**reduced(judgement), **{key: _plain(value, key) for key, value in more.items() if value not in EMPTY}}


def _plain(value: Any, key: str) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v, k) for k, v in value.items() if v not in EMPTY and v is not False}
    if isinstance(value, list):
        return [_plain(v, key) for v in value[:MOST]] + ([len(value)] if len(value) > MOST else [])
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, str) and key in TEXTS:
        return [float(n) for n in NUMBER.findall(value)]
    return value


def differences(kept: Any, now: Any, at: str = "") -> list[str]:
    """Where two reduced judgements differ by more than the last digits of another numpy or processor."""
    if isinstance(kept, dict) and isinstance(now, dict):
        return [d for key in kept.keys() | now.keys() for d in differences(kept.get(key), now.get(key), f"{at}.{key}")]
    if isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        return [d for i, pair in enumerate(zip(kept, now, strict=True)) for d in differences(*pair, f"{at}[{i}]")]
    if (
        isinstance(kept, int | float)
        and isinstance(now, int | float)
        and not isinstance(kept, bool)
        and not isinstance(now, bool)
    ):
        near = math.isclose(kept, now, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
        return [] if near else [f"{at}: {kept} kept, {now} now"]
    return [] if kept == now else [f"{at}: {kept} kept, {now} now"]
