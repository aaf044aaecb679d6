"""Three hundred strangers' starts, judged and graded. `python -m tests.strangers.run` does the same for as many as wanted."""

from __future__ import annotations

import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import from_bytes
from tests.strangers import frames, to_trace
from tests.strangers.grader.grade import FAULT, LACKING, NEAR_FAULT, SOUND
from tests.strangers.outcome import CRASHED, Outcome, context_of, outcome_of
from tests.strangers.start import start
from tests.strangers.table import table

SEEDS = range(300)
# Passed although evidence is lacking, known and not yet mended: a CSV cut off at its logger's full scale. Take out what is
# mended; nothing may come in.
STILL_OPEN = {("csv_flat_top", 92)}

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return [outcome_of(seed) for seed in SEEDS]


def share(rows: list[Outcome], verdict: str) -> float:
    return sum(o.verdict == verdict for o in rows) / max(len(rows), 1)


@pytest.mark.xdist_group("strangers")
def test_verdicts_agree_with_the_truth(outcomes: list[Outcome]) -> None:
    """The figures to reach, with margins for 300 starts; the table is printed where one is missed."""
    text, wrong = table(outcomes)
    sound = [o for o in outcomes if o.kind == SOUND]
    near = [o for o in outcomes if o.kind == NEAR_FAULT]
    lacking = [o for o in outcomes if o.kind == LACKING and o.verdict == "PASS"]
    helped = [o for o in outcomes if o.family == "aborted_helped"]
    print(text)
    assert not [o.seed for o in outcomes if o.verdict == CRASHED]
    assert wrong == 0
    assert {(o.family, o.seed) for o in lacking} <= STILL_OPEN
    assert sum(o.verdict == "PASS" for o in near) <= max(2, 0.05 * len(near))
    assert len(sound) > 40
    assert share(sound, "PASS") >= 0.94
    assert sum(o.verdict == "FAIL" for o in sound) <= 1
    assert not [o.seed for o in helped if o.verdict == "PASS"]
    found = [o for o in outcomes if o.kind == FAULT and o.verdict == "FAIL" and o.truth and not o.lacking]
    assert sum(bool(o.causes) and o.causes[0] in o.truth for o in found) >= 0.85 * len(found)
    assert sum(bool(set(o.causes[:2]) & o.truth) for o in found) >= 0.9 * len(found)


def test_frames_and_trace_of_one_start_get_one_verdict() -> None:
    """The same bins through the product's reader of recordings and as a trace handed over directly."""
    compared = 0
    for seed in range(60):
        s = start(seed)
        if s.trace is None or s.codes is None or s.trace.kind != "start" or {"full_scale_v"} & set(s.plan.record.tricks):
            continue
        kept = to_trace.taken_away(s.plan, s.codes, s.plan.record.begin_s)
        got = from_bytes(frames.recording(s.plan, kept), None, "x")
        limits = shipped(s.plan.system_v)
        here = judge(s.trace, limits, context_of(s)).verdict
        there = judge(got.trace, got.limits or limits, got.context).verdict
        assert here == there, f"{s.family} {seed}: {here} as a trace, {there} as a recording"
        compared += 1
    assert compared > 20
