"""Asking the judge, and what tests read of its answer. Works on older versions of the product, for tests that must fail there."""

from __future__ import annotations

from typing import Any

from firstcrank.analysis.verdict import judge
from firstcrank.limits import Limits, shipped
from firstcrank.trace import Trace

try:
    from firstcrank.model.context import Context as Context
except ImportError:  # an older version
    from firstcrank.analysis.findings import Context  # type: ignore[import-untyped, no-redef]

ASKED = Context(cranked_with_key=True, module_plugged_in=True)
RUNS = Context(cranked_with_key=True, module_plugged_in=True, engine_running=True)
PASS, FAIL, NO = "PASS", "FAIL", "NO VERDICT"


def limits(system_v: int = 12, **values: float) -> Limits:
    """Shipped limits with some changed."""
    base = shipped(system_v)
    return Limits(system_v, {**base.values, **values}, base.sources, base.name)


def doubled() -> Limits:
    """The 12 V limits with all volts doubled, as a 24 V set: what holds at 12 V must hold there."""
    from firstcrank.limits import SPECS

    base = shipped(12)
    values = {key: value * (2.0 if SPECS[key].unit in ("V", "ohm") else 1.0) for key, value in base.values.items()}
    return Limits(24, values, base.sources, "12 V limits doubled")


def ask(trace: Trace, context: Context = ASKED, to: Limits | None = None) -> Any:
    """The judgement."""
    return judge(trace, to or shipped(12), context)


def verdict(trace: Trace, context: Context = ASKED, to: Limits | None = None) -> str:
    """The overall verdict alone, which every version has."""
    return str(ask(trace, context, to).verdict)


def feed_verdict(judgement: Any) -> str:
    """The feed's verdict; older versions have but one."""
    feed = getattr(judgement, "feed", None)
    return str(judgement.verdict if feed is None else feed.verdict)


def describe(judgement: Any) -> str:
    """Findings that are not passes, for the message of a failing test."""
    rows = [
        f"{f.check} {f.phase} crank {getattr(f, 'crank', None)}: {f.result}: {f.reason}"
        for f in judgement.findings
        if f.result != "pass"
    ]
    return "\n".join((f"overall {judgement.verdict}, feed {feed_verdict(judgement)}", *judgement.reasons, *rows))
