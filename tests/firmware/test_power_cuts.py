"""The power goes at any moment while captures are kept: none is lost once it has been shown on the LED, and the board lives on.

The firmware's own captures.py on the real littlefs and a flash that dies in the middle of an erase or a program. 60 cuts here; by hand
`FIRSTCRANK_CUTS=500 pytest tests/firmware/test_power_cuts.py`. On the emulated chip: tests/board/test_worst_moments.py.
"""

from __future__ import annotations

import os
import random
from typing import Any

import pytest

from firstcrank_sim.board.firmware_program import load

from .dying_flash import DyingFlash, Files, PowerCut

CUTS = int(os.environ.get("FIRSTCRANK_CUTS", "24"))
FOLDER = "/firstcrank_captures"


@pytest.fixture
def captures(monkeypatch: pytest.MonkeyPatch) -> Any:
    """captures.Captures on the Files that `mount` was called with last."""
    module = load("captures")

    def mount(files: Files) -> Any:
        monkeypatch.setattr(module, "os", files)
        monkeypatch.setattr(module, "open", files.open, raising=False)
        return module.Captures(FOLDER)

    return mount


def keep(board: Any, content: bytes) -> int:
    """As Alone._keep does it; what it returns is what the LED shows from then on."""
    writer = board.begin(len(content) + 4096)
    try:
        for at in range(0, len(content), 700):
            writer.write(memoryview(content)[at : at + 700])
        writer.close()
    except OSError:
        writer.give_up()
        raise
    return int(writer.number)


def read(board: Any, number: int) -> bytes:
    data, piece = bytearray(), bytearray(768)
    while count := board.read(number, len(data), piece):
        data += piece[:count]
    return bytes(data)


def live(board: Any, dice: random.Random, shown: dict[int, bytes], fetched: set[int]) -> None:
    """Starts are kept one after the other, some are fetched, until the power goes."""
    while True:
        content = dice.randbytes(dice.randrange(20_000, 110_000))
        shown[keep(board, content)] = content
        if dice.random() < 0.4:
            number = dice.choice([n for n in shown if n not in fetched] or [0])
            if number:
                fetched.add(number)  # the laptop has it from here on
                board.mark_fetched(number)


def test_no_capture_that_was_shown_is_lost(captures: Any) -> None:
    wasted = 0
    for turn in range(CUTS):
        dice = random.Random(turn)
        flash = DyingFlash(seed=turn)
        board = captures(Files(flash, fresh=True))
        flash.operations = 0
        flash.cut_at = dice.randrange(
            3, 9000 if turn % 4 == 0 else 1200
        )  # every fourth: until the flash is full and gives up what was fetched
        shown: dict[int, bytes] = {}
        fetched: set[int] = set()
        with pytest.raises((PowerCut, OSError), match=""):
            live(board, dice, shown, fetched)
        full = not flash.dead
        after = captures(Files(DyingFlash(flash.buffer)))  # power up: what a mount finds
        there = {entry["number"] for entry in after.table()}
        for number, content in shown.items():
            if number not in fetched:
                assert read(after, number) == content, (turn, number)
        assert there <= set(shown) | {max(shown, default=0) + 1}, (turn, there)
        for number in there & fetched:
            assert read(after, number) == shown[number], (turn, number)
        if full:
            wasted += 1
            continue
        again = dice.randbytes(30_000)
        number = keep(after, again)
        assert read(after, number) == again, turn
    assert wasted < CUTS // 2  # most trials did die in the middle of something
