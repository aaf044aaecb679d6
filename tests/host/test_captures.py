"""Captures in the board's flash, run on this computer's file system: power cuts, no room, damage; what was kept survives."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from firstcrank_sim.board.firmware_program import load

captures = load("captures")


def kept(folder: Path, size: int = 100) -> int:
    """Keeps one capture; its number."""
    writer = captures.Captures(str(folder)).begin(size)
    writer.write(bytes(range(256))[:size])
    writer.close()
    return int(writer.number)


def test_kept_listed_read_and_marked(tmp_path: Path) -> None:
    folder = tmp_path / "c"
    store = captures.Captures(str(folder))
    assert store.table() == []
    assert [kept(folder), kept(folder, 10)] == [1, 2]
    assert store.table() == [{"number": 1, "bytes": 100, "fetched": False}, {"number": 2, "bytes": 10, "fetched": False}]
    piece = bytearray(8)
    assert store.read(1, 96, piece) == 4
    assert bytes(piece[:4]) == bytes(range(96, 100))
    store.mark_fetched(1)
    store.mark_fetched(1)  # twice is harmless
    assert [c["fetched"] for c in store.table()] == [True, False]
    with pytest.raises(OSError, match="2"):
        store.read(3, 0, piece)


@pytest.mark.parametrize("size", [1, 255, 256, 257, 700, 2500])
def test_the_description_stands_again_at_the_end(tmp_path: Path, size: int) -> None:
    folder = tmp_path / "c"
    first = bytes(1 + n % 255 for n in range(size))
    data = b"\x00\x00" + first + b"\x00" + b"bins\x00" * 300 + b"end\x00"
    writer = captures.Captures(str(folder)).begin(len(data))
    for at in range(0, len(data), 100):
        writer.write(data[at : at + 100])
    writer.close()
    assert (folder / "0001.fcr").read_bytes() == data + first + b"\x00"


def test_power_lost_while_writing_leaves_the_older_ones_and_nothing_half(tmp_path: Path) -> None:
    folder = tmp_path / "c"
    kept(folder)
    writer = captures.Captures(str(folder)).begin(100)
    writer.write(b"half")
    writer._file.flush()  # and here the power goes
    assert captures.Captures(str(folder)).names() == ["0001.fcr"]
    assert kept(folder) == 2
    assert sorted(p.name for p in folder.iterdir()) == ["0001.fcr", "0002.fcr"]


def test_no_room_gives_up_fetched_ones_first_and_unfetched_ones_never(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "c"
    for _ in range(3):
        kept(folder)
    store = captures.Captures(str(folder))
    store.mark_fetched(1)
    store.mark_fetched(2)

    def free_bytes(_: str) -> tuple[int, ...]:
        free = captures.SPARE_BYTES + 350 - 100 * len(list(folder.iterdir()))
        return (1, 1, 1, free)

    monkeypatch.setattr(captures, "os", SimpleNamespace(**{**vars(os), "statvfs": free_bytes}))
    writer = store.begin(100)  # one fetched capture must go
    writer.write(b"x" * 100)
    writer.close()
    assert store.names() == ["0002.got", "0003.fcr", "0004.fcr"]
    with pytest.raises(OSError, match="28"):
        store.begin(500)
    assert store.names() == ["0003.fcr", "0004.fcr"]


def test_a_worn_block_is_noticed_and_the_older_ones_stay(tmp_path: Path) -> None:
    folder = tmp_path / "c"
    kept(folder)
    writer = captures.Captures(str(folder)).begin(100)
    writer.write(b"y" * 100)
    writer._file.flush()
    path = folder / "0002.new"
    path.write_bytes(b"y" * 99 + b"z")  # what comes back is not what was written
    with pytest.raises(OSError, match="5"):
        writer.close()
    writer.give_up()
    assert captures.Captures(str(folder)).names() == ["0001.fcr"]
    assert [p.name for p in folder.iterdir()] == ["0001.fcr"]
