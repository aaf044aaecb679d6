"""A port that was closed, as an operating system closes it: what the board's buffers still hold comes first, and is no damage."""

from __future__ import annotations

import pytest

from firstcrank.board.check import ask_board, check
from firstcrank.calibration import read_calibration
from firstcrank.link.board_client import BoardClient

from .dropouts import Dropouts
from .session import CHANNELS, Session
from .test_alone_chip import NOMINAL, SteppedLink
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]


@long
def test_a_good_board_straight_after_installing_is_fit() -> None:
    board = Session(Dropouts())
    board.chip.set_port_open(False)
    board.chip.run(2.2)  # two identities that nobody takes
    board.chip.take()
    board.chip.set_port_open(True)
    client = BoardClient(SteppedLink(board))
    client.handshake()
    answers = ask_board(client, CHANNELS)
    assert client.damaged_frames > 0  # the tail was there
    lines = {line.what: line for line in check(answers, read_calibration(NOMINAL))}
    print("\n".join(f"{line.outcome} {line.what}: {line.seen}" for line in lines.values()))
    for what in ("link", "sampling", "converter", "clock", "memory"):
        assert lines[what].outcome == "ok", lines[what]
