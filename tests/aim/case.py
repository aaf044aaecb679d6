"""One row of an aiming table: a start, and what the judge must say of one obligation and of the feed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from firstcrank.limits import Limits
from firstcrank.trace import Trace

from .ask import ASKED, ask, describe, feed_verdict

MEETS = ("pass", "warn")


@dataclass(frozen=True, slots=True)
class Case:
    """`name`: obligation, side and value. `feed`: the feed's verdict. `check`: id of the finding, its `result` ("pass" also stands for
    "warn"), looked for in `phase` and `crank` where given. `overall`: where it differs from the feed's. `gap`: why the judge does
    not do it yet.
    """

    name: str
    make: Callable[[], Trace]
    feed: str
    check: str
    result: str
    phase: str | None = None
    crank: int | None = None
    context: Any = ASKED
    limits: Limits | None = None
    overall: str | None = None
    gap: str = ""


def table(cases: list[Case]) -> pytest.MarkDecorator:
    """The parametrisation of a table."""
    names = [case.name for case in cases]
    assert len(set(names)) == len(names), "two rows of one name"
    rows = [pytest.param(c, id=c.name, marks=[pytest.mark.xfail(reason=c.gap, strict=True)] if c.gap else []) for c in cases]
    return pytest.mark.parametrize("case", rows)


def hold(case: Case) -> Any:
    """Asserts the row, and gives the judgement for more."""
    judgement = ask(case.make(), case.context, case.limits)
    message = f"\n{case.name}\n{describe(judgement)}"
    assert feed_verdict(judgement) == case.feed, message
    assert judgement.verdict == (case.overall or case.feed), message
    found = [
        f
        for f in judgement.findings
        if f.check == case.check
        and (case.phase is None or f.phase == case.phase)
        and (case.crank is None or f.crank == case.crank)
    ]
    assert found, f"no finding {case.check}{message}"
    if case.result in MEETS:
        assert all(f.result in MEETS for f in found), message
        assert case.result == "pass" or any(f.result == "warn" for f in found), message
    else:
        assert any(f.result == case.result for f in found), message
    return judgement
