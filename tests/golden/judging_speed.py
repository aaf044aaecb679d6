"""Judging a recording of 30 s, in processor time, against another checkout of this repository in the same run.

    git worktree add /tmp/before 7bf83f1
    python -m tests.golden.judging_speed /tmp/before

A golden recording of the first format, which both read, lengthened to 30 s by repeating its last second. Each tree runs in
processes of its own, in turn; of each the least of all is taken. Prints both and their ratio.
"""

from __future__ import annotations

import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
RECORDING = Path(__file__).parent / "data" / "recordings" / "healthy.fcr"
SECONDS, ROUNDS, REPEATS = 30.0, 4, 9


def lengthened(trace: Any) -> Any:
    """The trace with its last second repeated until it lasts SECONDS."""
    step_s = float(np.median(trace.end_s - trace.start_s))
    last, needed = int(1.0 / step_s), int(SECONDS / step_s) - len(trace)
    at = np.concatenate([np.arange(len(trace)), len(trace) - last + np.arange(max(needed, 0)) % last])
    start_s = np.arange(len(at)) * step_s
    channels = {
        role: replace(c, mean_v=c.mean_v[at], lowest_v=c.lowest_v[at], highest_v=c.highest_v[at])
        for role, c in trace.channels.items()
    }
    runs = trace.runs and replace(
        trace.runs, longest=trace.runs.longest[at], head=trace.runs.head[at], tail=trace.runs.tail[at]
    )
    return replace(
        trace,
        start_s=start_s,
        end_s=start_s + step_s,
        conversions=trace.conversions[at],
        gap_s=trace.gap_s[at],
        channels=channels,
        runs=runs,
        close_ups=(),
        holes=(),
    )


def measured() -> float:
    """Least processor time of one judgement with the firstcrank that is imported, seconds."""
    from firstcrank.analysis.verdict import judge
    from firstcrank.limits import shipped
    from firstcrank.tracefiles.native import read_native

    recording = read_native(RECORDING)
    trace, limits = lengthened(recording.trace), shipped(12)
    times = []
    for _ in range(REPEATS):
        began_s = time.process_time()
        judge(trace, limits, recording.context)
        times.append(time.process_time() - began_s)
    return min(times)


def of_tree(tree: Path) -> float:
    """The same with the program of another checkout."""
    code = "import sys; sys.path.insert(0, sys.argv[1]); from judging_speed import measured; print(measured())"
    done = subprocess.run(
        [sys.executable, "-c", code, str(tree / "host")], cwd=Path(__file__).parent, capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def main() -> None:
    """Prints the table."""
    other = Path(sys.argv[1])
    here_s, there_s = [], []
    for _ in range(ROUNDS):
        here_s.append(of_tree(ROOT))
        there_s.append(of_tree(other))
    print(f"judging 30 s: {min(here_s) * 1e3:.1f} ms here, {min(there_s) * 1e3:.1f} ms in {other}")
    print(f"ratio {min(here_s) / min(there_s):.2f}")


if __name__ == "__main__":
    main()
