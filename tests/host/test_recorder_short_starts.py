"""A healthy engine that starts at once: the recorder goes on until the evidence can exist, and asks whether it runs."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import from_bytes, read_native

from .sim_recording import make

RUN_ON_S = shipped(12)["run_on_s"]


@pytest.mark.parametrize(("answer", "verdict"), [(True, "PASS"), (False, "NO VERDICT"), (None, "PASS")])
def test_the_answer_is_asked_for_kept_and_decides(tmp_path: Path, answer: bool | None, verdict: str) -> None:
    path = tmp_path / "quick.fcr"
    observer = make("runs_on", path, answer=answer)
    assert observer.asked == 1
    recording = read_native(path)
    assert recording.context.engine_running is answer
    judgement = judge(recording.trace, shipped(12), recording.context)
    assert judgement.verdict == verdict, judgement.reasons
    evidence = judgement.cranks[-1].ran_on_evidence
    assert evidence.startswith({True: "reported", None: "seen"}.get(answer, "")), "nobody asked: the battery showed it"
    assert float(recording.trace.end_s[-1]) - judgement.cranks[-1].end_s >= RUN_ON_S, "it went on until running could be seen"


def test_a_long_crank_is_not_asked_about(tmp_path: Path) -> None:
    assert make("healthy", tmp_path / "long.fcr").asked == 0


def test_a_lost_answer_is_told(tmp_path: Path) -> None:
    path = tmp_path / "quick.fcr"
    make("runs_on", path, answer=True)
    parts = path.read_bytes().split(b"\x00")
    kept = [part for part in parts if b'"note": "answers afterwards"' not in part]
    assert len(kept) < len(parts)
    recording = from_bytes(b"\x00".join(kept), None, "cut")
    assert any("answers given afterwards" in line for line in recording.trace.integrity)
    assert judge(recording.trace, shipped(12), recording.context).verdict == "NO VERDICT"
