"""firstcrank board install, as shipped, onto a bare emulated RP2040 with the official image; then an update over it."""

from __future__ import annotations

from pathlib import Path

import pytest
from mpremote.transport_serial import SerialTransport

from firstcrank.board.prompt import at_prompt

from .chip import emulated_chip
from .test_end_to_end_chip import firstcrank
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
KEPT = {
    "/firstcrank_calibration.json": b'{"kind": "measured"}',
    "/firstcrank_captures/0001.fcr": b"a capture",
    "/own.txt": b"1",
}


@long
def test_a_bare_board_and_an_update_over_it(tmp_path: Path) -> None:
    with emulated_chip(tmp_path, "healthy", {}) as port:
        first = firstcrank("board", "install", "--port", port)
        assert first.returncode == 0, first.stdout + first.stderr
        assert "MicroPython 1.24.1 on rp2" in first.stdout
        assert "app.mpy" in first.stdout
        assert "answers" in first.stdout
        with at_prompt(port) as board:
            board.exec("import os; os.mkdir('/firstcrank_captures')")
            for path, content in KEPT.items():
                board.fs_writefile(path, content)
        again = firstcrank("board", "install", "--port", port)
        assert again.returncode == 0, again.stdout + again.stderr
        with at_prompt(port) as board:
            assert isinstance(board, SerialTransport)
            for path, content in KEPT.items():
                assert bytes(board.fs_readfile(path)) == content
            assert b"firstcrank_board" in board.exec("import os; print(os.listdir('/'))")
            assert b".old" not in board.exec("import os; print(os.listdir('/'))")
