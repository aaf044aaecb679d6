"""A board that works alone, on the emulated chip: set to, unplugged, cranked, read off its LED, plugged in, fetched, judged again."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from firstcrank import wire
from firstcrank.analysis.verdict import judge
from firstcrank.board.alone import alone_table
from firstcrank.board.captures import list_captures, mark_fetched, read_capture, write_recording
from firstcrank.calibration import read_calibration
from firstcrank.limits import shipped
from firstcrank.link.board_client import BoardClient
from firstcrank.model.context import Context
from firstcrank.tracefiles.native import read_native
from firstcrank_sim.board.firmware_program import load

from . import played_start
from .session import CHANNELS, Session
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
NOMINAL = Path(__file__).parents[2] / "host" / "firstcrank" / "data" / "calibration_minimal_12v.toml"
LED_EVERY_S = 0.005


class Playing:
    """The hand-drawn start from `begin_s` on, key off before."""

    def __init__(self, scenario: str) -> None:
        self.scenario, self.begin_s = scenario, 1e9

    def __call__(self, channel: int, t_s: float) -> int:
        return played_start.code(channel, max(t_s - self.begin_s, 0.0), self.scenario)


class SteppedLink:
    """A Link whose time is the chip's: reading lets it run."""

    name = "emulated chip"
    synthetic = True

    def __init__(self, session: Session) -> None:
        self._chip = session.chip

    def read(self, timeout_s: float) -> bytes:
        end_s = self._chip.now_s + timeout_s
        while self._chip.now_s < end_s and not self._chip.received:
            self._chip.step()
        return self._chip.take()

    def write(self, data: bytes) -> None:
        self._chip.write(data)

    def now_s(self) -> float:
        return self._chip.now_s

    def close(self) -> None:
        """Nothing to give back."""


def led_times(board: Session, seconds: float) -> list[float]:
    """Lengths in seconds of what the LED did, one after the other."""
    changes, was = [board.chip.now_s], board.chip.led()
    end_s = board.chip.now_s + seconds
    while board.chip.now_s < end_s:
        board.chip.run(LED_EVERY_S)
        if board.chip.led() != was:
            was = not was
            changes.append(board.chip.now_s)
    return [b - a for a, b in pairwise(changes)]


def shows(times: list[float], name: str) -> bool:
    """One whole round of the pattern, beginning anywhere."""
    wanted = [ms / 1000 for ms in load("lamp").PATTERNS[name] if ms]
    return any(
        all(abs(had - want) < 0.03 for had, want in zip(times[at : at + len(wanted)], wanted, strict=True))
        for at in range(1, len(times) - len(wanted) + 1)
    )


@long
@pytest.mark.parametrize(("scenario", "verdict"), [("healthy", "PASS"), ("glitch", "FAIL")])
def test_told_unplugged_cranked_fetched(tmp_path: Path, scenario: str, verdict: str) -> None:
    play = Playing(scenario)
    board = Session(play)
    limits, calibration = shipped(12), read_calibration(NOMINAL)
    reply = board.ask(
        wire.ARM, {"alone": alone_table(limits, calibration, CHANNELS)}
    )  # the flash takes its time: no reading is lost
    assert reply["ok"], reply
    board.chip.set_port_open(False)
    play.begin_s = board.chip.now_s + 0.1
    board.chip.run(played_start.RELEASE_S + 2.0)
    board.chip.run_until(lambda: len(set(led_times(board, 0.3))) > 3, 4.0)  # the flicker of keeping
    assert shows(led_times(board, 4.5), verdict)
    board.chip.set_port_open(True)
    board.chip.take()
    client = BoardClient(SteppedLink(board))
    client.handshake()
    assert client.identity["state"] == "alone"
    client.idle()
    (capture,) = list_captures(client)
    data = read_capture(client, capture, lambda *_: None)
    mark_fetched(client, capture)
    assert [c.fetched for c in list_captures(client)] == [True]
    path = tmp_path / "capture.fcr"
    write_recording(path, data, "test", calibration, limits, Context(cranked_with_key=True, module_plugged_in=True))
    recording = read_native(path)
    judgement = judge(recording.trace, limits, recording.context)
    assert judgement.verdict == verdict, judgement.reasons
    from_board = recording.meta["board_said"]
    assert from_board is not None
    assert from_board[0] == verdict
    assert recording.trace.holes == ()
    if scenario == "glitch":
        (dropout,) = [d for d in judgement.dropouts if d.counts]
        assert dropout.duration_s == pytest.approx(0.004, abs=1e-5)  # from the close-up
        assert dropout.start_s - judgement.cranks[0].start_s == pytest.approx(1.1, abs=0.03)
        assert len(recording.trace.close_ups) >= 2
    print(f"{scenario}: capture of {len(data)} bytes")
