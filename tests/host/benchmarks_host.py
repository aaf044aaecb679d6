"""Times the host: start-up, judging a recording, share of a core while recording. Not a test: run it by hand.

    python -m tests.host.benchmarks_host

Each figure is a ratio to something trivial on the same machine, so that it means the same on another one.
"""

from __future__ import annotations

import io
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from rich.console import Console

from firstcrank import wire, wire_bodies
from firstcrank.analysis.verdict import judge
from firstcrank.cli.visit_screen import VisitScreen
from firstcrank.limits import shipped
from firstcrank.link.board_client import BoardClient
from firstcrank.link.open import open_link
from firstcrank.model.context import Context
from firstcrank.recorder import Plan, record
from firstcrank.tracefiles.native import from_bytes, read_native

from .sim_recording import CHANNELS, Silent, recorded, stored_calibration

REPEATS = 9
LONG_S = 30.0


def middle_s(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Median of the seconds that `work` takes, after one run that is not counted."""
    work()
    times = []
    for _ in range(repeats):
        begin_s = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin_s)
    return statistics.median(times)


def python(*args: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, *args], capture_output=True, check=True)


def long_recording() -> bytes:
    """The healthy start with its crank as it is and the rest after it repeated until 30 s are full: same rate, same size."""
    frames = wire.Deframer().feed(recorded("healthy"))
    bins = [f for f in frames if f.kind == wire.BINS]
    heads = [wire_bodies.unpack_bins_head(f.body) for f in bins]
    period_s = 2e-6
    per_frame = [h.bin_count * h.conversions * h.channel_count for h in heads]
    out = bytearray()
    index, sequence = 0, 0
    ended = False
    for frame in frames:
        if frame.kind == wire.END or (frame.kind == wire.NOTE and b'"end"' in frame.body[:16]):
            ended = True
        if ended or frame.kind == wire.CLOSE_UP:
            continue
        out += wire.encode_frame(frame.kind, frame.recording_id, frame.sequence, frame.body)
        if frame.kind == wire.BINS:
            index = wire_bodies.unpack_bins_head(frame.body).first_conversion + per_frame[bins.index(frame)]
            sequence = frame.sequence
    tail = bins[-40:]
    while index * period_s < LONG_S:
        for frame in tail:
            head = wire_bodies.unpack_bins_head(frame.body)
            body = index.to_bytes(8, "little") + frame.body[8:]
            sequence += 1
            out += wire.encode_frame(wire.BINS, frame.recording_id, sequence, body)
            index += head.bin_count * head.conversions * head.channel_count
    out += wire.encode_frame(wire.END, bins[0].recording_id, sequence + 1, b'{"why": "benchmark", "counters": {}}')
    return bytes(out)


class OnlyFrames:
    """A link that plays a recording's bytes at once: what is timed is the host's own work, not the simulated board's."""

    synthetic = True

    def __init__(self, data: bytes) -> None:
        self.name, self._data, self._at = "played", data, 0

    def read(self, timeout_s: float) -> bytes:
        piece = self._data[self._at : self._at + 512]
        self._at += 512
        return piece

    def write(self, data: bytes) -> None:
        """Commands of the host are not needed: the recording is ready."""

    def now_s(self) -> float:
        return time.monotonic()

    def close(self) -> None:
        """Nothing to give back."""


def live_share() -> tuple[float, float, int]:
    """CPU seconds of following and writing a recording, the seconds it lasted, and its bytes."""
    data = recorded("healthy")
    board = BoardClient(open_link("sim:healthy,seed=3"))
    board.handshake()
    calibration = stored_calibration(board)
    board.close()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.fcr"
        plan = Plan(path, shipped(12), calibration, Context(), CHANNELS)
        recording_id = from_bytes(data).meta["recording_id"]
        client = BoardClient(OnlyFrames(data))
        client.identity = {"state": "idle"}
        client.configure = lambda *_, **__: None  # type: ignore[method-assign]
        urandom, os.urandom = os.urandom, lambda count: bytes.fromhex(recording_id)[:count]  # the id the file was made with
        try:
            begin = resource.getrusage(resource.RUSAGE_SELF)
            record(client, plan, Silent())
            end = resource.getrusage(resource.RUSAGE_SELF)
        finally:
            os.urandom = urandom
        seconds = float(read_native(path).trace.end_s[-1])
    return end.ru_utime + end.ru_stime - begin.ru_utime - begin.ru_stime, seconds, len(data)


def drawing_s() -> float:
    """Seconds for one picture of the live screen at 80 columns; ten are drawn a second."""
    console = Console(file=io.StringIO(), width=80, force_terminal=True)
    screen = VisitScreen(console, shipped(12))
    rng = np.random.default_rng(1)
    screen._battery, screen._feed = list(rng.uniform(8, 12, 200)), list(rng.uniform(0, 12, 200))
    return middle_s(lambda: console.print(screen._picture()), 50)


def processor() -> str:
    """The processor's name where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), platform.machine())


def main() -> None:
    """Prints the table of docs/performance.md."""
    print(f"{processor()}, {os.cpu_count()} cores, CPython {platform.python_version()}")
    python_s = middle_s(python("-c", "pass"))
    help_s = middle_s(python("-m", "firstcrank.cli.main", "--help"))
    print(f"python -c pass                 {python_s:7.3f} s   1.0")
    print(f"firstcrank --help              {help_s:7.3f} s   {help_s / python_s:.1f} times python -c pass")
    data = long_recording()
    recording = from_bytes(data)
    trace = recording.trace
    judged = judge(trace, shipped(12), recording.context)
    print(
        f"recording: {trace.end_s[-1]:.1f} s, {len(trace)} bins, {int(trace.conversions.sum())} readings a lead, {len(data)} bytes"
    )
    print(f"verdict on it: {judged.verdict} {judged.reasons}")
    read_s = middle_s(lambda: from_bytes(data), 5)
    judge_s = middle_s(lambda: judge(trace, shipped(12), recording.context), 5)
    print(f"reading it                     {read_s:7.3f} s   {read_s / python_s:.1f}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.fcr"
        path.write_bytes(data)
        command_s = middle_s(python("-m", "firstcrank.cli.main", "judge", str(path)), 5)
        json_s = middle_s(python("-m", "firstcrank.cli.main", "judge", "--json", str(path)), 5)
    print(f"judging it                     {judge_s:7.3f} s   {judge_s / python_s:.1f}")
    print(f"firstcrank judge FILE          {command_s:7.3f} s   {command_s / python_s:.1f}")
    print(f"firstcrank judge --json FILE   {json_s:7.3f} s   {json_s / python_s:.1f}")
    spent_s, lasted_s, size = live_share()
    print(f"live: {spent_s:.3f} s of CPU for {lasted_s:.1f} s of recording ({size} bytes): {spent_s / lasted_s:.1%} of a core")
    print(f"live screen: {10 * drawing_s():.1%} of a core")


if __name__ == "__main__":
    main()
