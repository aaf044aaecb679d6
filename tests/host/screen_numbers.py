"""`python -m tests.host.screen_numbers`: how long from a dropout at the pins to the bell, how often the screen is drawn and what it costs.

The real commands run against the simulated board in real time; every bell and every drawing is stamped as it is written. The dropout's
own moment is the simulated board's, by the clock that paces it. What drawing and following cost is counted without the simulated
board: the same screen fed with readings made beforehand. No USB driver, terminal or speaker is in it.
"""

from __future__ import annotations

import io
import tempfile
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

import numpy as np
from rich.console import Console

from firstcrank.analysis.live import LiveTracker
from firstcrank.cli.main import cli
from firstcrank.cli.visit_screen import VisitScreen
from firstcrank.limits import shipped
from firstcrank.visit.values import Visit
from firstcrank_sim.board.simulated_board import SimulatedBoard, open_sim
from firstcrank_sim.scenarios.catalogue import simulate

BELL = "\x07"
HARNESS_S = (5.0, 9.0, 13.0, 17.0, 21.0)  # when sim:moved_harness drops out
SEEDS = (1, 2, 3, 4, 5)
FRAME_BINS, BIN_S = 128, 0.768e-3


@dataclass
class Stamped(io.StringIO):
    """A terminal of 80x24 that notes when it was written to."""

    bells_s: list[float] = field(default_factory=list)
    bells_recorded_s: list[float] = field(default_factory=list)
    drawn_s: list[float] = field(default_factory=list)
    boards: list[SimulatedBoard] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def isatty(self) -> bool:
        """It says that it is one."""
        return True

    def write(self, text: str) -> int:
        """Notes the moment."""
        now_s = time.monotonic()
        if BELL in text:
            self.bells_s.append(now_s)
            self.bells_recorded_s += [board._recorded_s() for board in self.boards]
        if len(text) > 200:
            self.drawn_s.append(now_s)
        return len(text)


def played(*args: str) -> tuple[Stamped, Callable[[float], float]]:
    """A command's terminal, and the wall clock's moment of a second of the recording."""
    screen = Stamped()

    def opened(text: str | None) -> SimulatedBoard:
        screen.boards.append(open_sim(str(text).removeprefix("sim:")))
        return screen.boards[-1]

    environment = {"COLUMNS": "80", "LINES": "24", "TERM": "xterm-256color"}
    with (
        patch.dict("os.environ", environment),
        patch("firstcrank.cli.choose_port.chosen_link", opened),
        redirect_stdout(screen),
    ):
        cli.main(args=list(args), prog_name="firstcrank", standalone_mode=False)
    board = screen.boards[0]
    assert board._recording_us is not None
    begin_s = board._began_s + board._recording_us * 1e-6
    return screen, lambda at_s: begin_s + at_s


def latency_of_watch() -> list[float]:
    """Seconds from each of five dropouts to its bell."""
    screen, wall = played("watch", "--port", "sim:moved_harness,speed=1", "--for", "24")
    return [min(bell - wall(at_s) for bell in screen.bells_s if bell >= wall(at_s)) for at_s in HARNESS_S]


def latency_on_the_way() -> list[float]:
    """The same by the board's own clock, as fast as it goes: what sampling, frames and following take, the machine's load not in it."""
    screen, _ = played("watch", "--port", "sim:moved_harness", "--for", "24")
    return [min(bell - at_s for bell in screen.bells_recorded_s if bell >= at_s) for at_s in HARNESS_S]


def latency_of_start(folder: Path, seed: int) -> tuple[float, float]:
    """Seconds from the feed's death at the turn to START to the bell of LET GO, and drawings a second of the guided start."""
    truth = simulate("feed_dead_in_start", seed)
    out = str(folder / f"start{seed}.fcr")
    port = f"sim:feed_dead_in_start,seed={seed},speed=1"
    screen, wall = played("start", "--port", port, "--yes", "--out", out, "--key-start", "--module-plugged")
    turned_s = truth.schedule.leave_s + np.arange(0.0, 1.0, 1e-3)
    dead_s = wall(float(turned_s[np.argmax(truth.volts("key_switch", turned_s) < shipped(12)["module_minimum_v"])]))
    drawn = [at for at in screen.drawn_s if wall(1.0) < at < wall(6.0)]
    return min(bell - dead_s for bell in screen.bells_s if bell >= dead_s), len(drawn) / 5.0


def share_of_a_core(updates: int = 200) -> float:
    """Processor time of following and drawing, per cent of a core at one update a frame."""
    console = Console(file=io.StringIO(), force_terminal=True, width=80, height=24, highlight=False)
    screen = VisitScreen(console, shipped(12), visit=Visit(guided=True))
    assert screen._live is not None
    screen._live.auto_refresh = False
    tracker, at_s = LiveTracker(shipped(12), None, "visit"), 0.0
    battery_v, feed_v = np.full(FRAME_BINS, 12.5), np.zeros(FRAME_BINS)
    began_s = time.process_time()
    with screen._live:
        for _ in range(updates):
            start_s = at_s + np.arange(FRAME_BINS, dtype=np.float64) * BIN_S
            tracker.feed(start_s, start_s + BIN_S, battery_v, feed_v, feed_v, feed_v)
            screen.bins(tracker, battery_v, feed_v, feed_v)
            screen._live.refresh()
            at_s += FRAME_BINS * BIN_S
    return (time.process_time() - began_s) / (updates * FRAME_BINS * BIN_S) * 100.0


def main() -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory() as folder:
        started = [latency_of_start(Path(folder), seed) for seed in SEEDS]
    watch_s, way_s = latency_of_watch(), latency_on_the_way()
    rows = (
        ("dropout to bell by the board's clock, five of 2 to 40 ms", f"{min(way_s):.2f} to {max(way_s):.2f} s", "0.3 s"),
        ("dropout to bell, watch, five of 2 to 40 ms", f"{min(watch_s):.2f} to {max(watch_s):.2f} s", "0.3 s"),
        (
            "feed dead in START to bell, start, five starts",
            f"{min(s for s, _ in started):.2f} to {max(s for s, _ in started):.2f} s",
            "0.3 s",
        ),
        ("drawings a second, start", f"{min(drawn for _, drawn in started):.1f}", "8"),
        ("following and drawing", f"{share_of_a_core():.1f} % of a core", "10 %"),
    )
    print("| What | Reached | Aim |\n|---|---|---|")
    for row in rows:
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
