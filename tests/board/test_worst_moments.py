"""The power goes while a board that works alone writes to its flash: what it has shown stays, and the board lives on.

The plain board's own file system code in the official image, on a flash whose erases and programs take their time and are cut off in
the middle. The many moments are walked through by tests/firmware/test_power_cuts.py; here a few are on the chip.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from firstcrank import wire
from firstcrank.analysis.verdict import judge
from firstcrank.board.alone import alone_table
from firstcrank.board.captures import list_captures, read_capture, write_recording
from firstcrank.calibration import read_calibration
from firstcrank.limits import shipped
from firstcrank.link.board_client import BoardClient
from firstcrank.model.context import Context
from firstcrank.tracefiles.native import read_native

from . import played_start
from .emulator import PowerCutError
from .session import CHANNELS, Session
from .test_alone_chip import NOMINAL, Playing, SteppedLink, led_times
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
CUTS = 4


def kept(board: Session) -> None:
    """Until the LED no longer flickers: the capture is kept."""
    board.chip.run_until(lambda: len(set(led_times(board, 0.3))) > 3, 4.0)
    board.chip.run_until(lambda: len(set(led_times(board, 0.6))) <= 4, 8.0)


@long
def test_a_power_cut_while_a_capture_is_kept(tmp_path: Path) -> None:
    play = Playing("healthy")
    board = Session(play)
    limits, calibration = shipped(12), read_calibration(NOMINAL)
    assert board.ask(wire.ARM, {"alone": alone_table(limits, calibration, CHANNELS)})["ok"]
    board.chip.set_port_open(False)
    play.begin_s = board.chip.now_s + 0.1
    before = board.chip.flash.operations
    board.chip.run(played_start.RELEASE_S + 2.0)
    kept(board)
    needed = board.chip.flash.operations - before  # of one capture
    assert needed > 20
    shown = board.chip.file_system()
    dice = random.Random(11)
    for turn in range(CUTS):
        play = Playing("glitch")
        again = Session(play, file_system=shown)
        again.chip.set_port_open(False)
        again.chip.run(6.0)  # alone, as nobody speaks to it
        play.begin_s = again.chip.now_s + 0.1
        again.chip.flash.half = dice.random()
        again.chip.flash.cut_after = again.chip.flash.operations + dice.randrange(1, needed)
        with pytest.raises(PowerCutError):
            again.chip.run(played_start.RELEASE_S + 12.0)
        after = Session(Playing("healthy"), file_system=again.chip.file_system())  # power up
        client = BoardClient(SteppedLink(after))
        client.handshake()
        client.idle()
        captures = list_captures(client)
        assert len(captures) in (1, 2), turn  # the second is there whole or not at all
        path = tmp_path / f"{turn}.fcr"
        data = read_capture(client, captures[0], lambda *_: None)
        write_recording(path, data, "test", calibration, limits, Context(cranked_with_key=True, module_plugged_in=True))
        recording = read_native(path)
        assert judge(recording.trace, limits, recording.context).verdict == "PASS"
