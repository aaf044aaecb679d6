"""Boards that misbehave, programs that are stopped, keys hammered: every recording ends by itself and keeps what it has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from firstcrank import wire
from firstcrank.errors import LinkLostError, UnwritableFileError
from firstcrank.limits import shipped
from firstcrank.link.board_client import BoardClient
from firstcrank.link.open import open_link
from firstcrank.model.context import Context
from firstcrank.recorder import Plan, record
from firstcrank.tracefiles.native import from_bytes, read_native

from .sim_recording import CHANNELS, Silent, stored_calibration

Change = Callable[[wire.Frame], wire.Frame | None]


class Odd:
    """The simulated board, each frame of its changed on the way; `late_s`: how far the clock is ahead of the board's."""

    synthetic = True

    def __init__(self, name: str = "healthy", change: Change = lambda frame: frame) -> None:
        self._board = open_link(f"sim:{name},seed=3")
        self.name, self._change = self._board.name, change
        self._deframer = wire.Deframer()
        self.late_s = 0.0
        self.reads = 0
        self.live = False  # the hook sees what is read from the time the recorder takes over
        self.hook: Callable[[int, bytes], bytes] = lambda number, data: data

    def read(self, timeout_s: float) -> bytes:
        frames = self._deframer.feed(self._board.read(timeout_s))
        changed = [self._change(frame) for frame in frames]
        data = b"".join(wire.encode_frame(*frame) for frame in changed if frame is not None)
        self.reads += self.live
        return self.hook(self.reads, data) if self.live else data

    def write(self, data: bytes) -> None:
        self._board.write(data)

    def now_s(self) -> float:
        return self._board.now_s() + self.late_s

    def close(self) -> None:
        self._board.close()


def recorded_from(link: Odd, path: Path, **changed: object) -> Silent:
    observer, client = Silent(), BoardClient(link)
    client.handshake()
    calibration = stored_calibration(client)
    plan = Plan(path, shipped(12), calibration, Context(cranked_with_key=True, module_plugged_in=True), CHANNELS)
    link.live = True
    record(client, replace(plan, **changed), observer)  # type: ignore[arg-type]
    return observer


def wrong_length(frame: wire.Frame) -> wire.Frame:
    return frame._replace(body=frame.body[:-1]) if frame.kind == wire.BINS else frame


def no_bins(frame: wire.Frame) -> wire.Frame:
    return (
        frame._replace(body=frame.body[:34] + b"\x00" + frame.body[35 : wire.BINS_BYTES]) if frame.kind == wire.BINS else frame
    )


def other_channels(frame: wire.Frame) -> wire.Frame:
    if frame.kind != wire.BINS:
        return frame
    count = min(frame.body[34], 16)  # bins of five leads that fit a frame
    return frame._replace(body=frame.body[:34] + bytes((count, 5)) + bytes(count * wire.bin_bytes(5)))


@pytest.mark.parametrize("change", [wrong_length, no_bins, other_channels])
def test_a_board_that_sends_frames_without_usable_bins_ends_with_the_reason_and_leaves_no_file(
    change: Change, tmp_path: Path
) -> None:
    with pytest.raises(LinkLostError, match="no readings that can be used"):
        recorded_from(Odd(change=change), tmp_path / "x.fcr")
    assert list(tmp_path.iterdir()) == []


def test_bins_that_become_useless_end_a_recording_that_began_and_it_is_kept_as_incomplete(tmp_path: Path) -> None:
    seen = 0

    def later(frame: wire.Frame) -> wire.Frame:
        nonlocal seen
        seen += frame.kind == wire.BINS
        return wrong_length(frame) if seen > 40 else frame

    observer = recorded_from(Odd(change=later), tmp_path / "x.fcr")
    assert "no readings that can be used" in observer.why
    trace = read_native(tmp_path / "x.fcr").trace
    assert not trace.complete
    assert any("broke off" in note for note in trace.notes)


def test_the_longest_time_counts_time_that_passes_without_readings(tmp_path: Path) -> None:
    """One frame in thirty comes through: enough not to be silent, too little to see a start by."""
    seen = 0

    def thinned(frame: wire.Frame) -> wire.Frame | None:
        nonlocal seen
        seen += frame.kind == wire.BINS
        if frame.kind == wire.BINS and seen % 30:
            return None
        ticks = b"\x00\x00\x00\x00"  # and its clock stands still
        return frame._replace(body=frame.body[:8] + ticks + frame.body[12:]) if frame.kind == wire.BINS else frame

    observer = recorded_from(Odd(change=thinned), tmp_path / "x.fcr", longest_s=5.0)
    assert observer.why == "nothing more happened"


@pytest.mark.parametrize("half", [1, 7, 40])
def test_a_program_stopped_for_ten_seconds_goes_on(half: int, tmp_path: Path) -> None:
    """The first read after the pause holds no whole frame: the board is not silent for that."""
    link = Odd()
    held = b""

    def paused(number: int, data: bytes) -> bytes:
        nonlocal held
        data, held = held + data, b""
        if number in (40, 90, 140):
            link.late_s += 10.0
            data, held = data[:half], data[half:]
        return data

    link.hook = paused
    observer = recorded_from(link, tmp_path / "x.fcr")
    assert observer.why == "the release was watched"
    assert from_bytes((tmp_path / "x.fcr").read_bytes()).trace.complete


def test_a_silent_board_is_still_told(tmp_path: Path) -> None:
    link = Odd()
    link.hook = lambda number, data: data if number < 60 else b""
    assert recorded_from(link, tmp_path / "x.fcr").why == "the board went silent"


def interrupted(link: Odd, at: tuple[int, ...]) -> None:
    def press(number: int, data: bytes) -> bytes:
        if number in at:
            raise KeyboardInterrupt
        return data

    link.hook = press


@pytest.mark.parametrize("at", [(50,), (50, 51), (50, 52)])
def test_ctrl_c_once_or_twice_keeps_a_closed_recording(at: tuple[int, ...], tmp_path: Path) -> None:
    link = Odd()
    interrupted(link, at)
    assert recorded_from(link, tmp_path / "x.fcr").why == "stopped by the user"
    trace = read_native(tmp_path / "x.fcr").trace
    assert trace.complete
    assert trace.integrity == ()


def test_a_board_that_ends_before_the_first_reading_leaves_no_file(tmp_path: Path) -> None:
    ended = Odd(change=lambda f: f._replace(kind=wire.END, body=b'{"why": "no more"}') if f.kind == wire.BINS else f)
    with pytest.raises(LinkLostError, match=r"nothing was recorded: the board ended the recording \(no more\)"):
        recorded_from(ended, tmp_path / "x.fcr")
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_before_the_first_reading_leaves_nothing(tmp_path: Path) -> None:
    link = Odd(change=lambda frame: None if frame.kind in (wire.BINS, wire.STREAM) else frame)
    interrupted(link, (1, 2))
    with pytest.raises(KeyboardInterrupt):
        recorded_from(link, tmp_path / "x.fcr")
    assert list(tmp_path.iterdir()) == []


def test_limits_of_any_length_are_recorded_and_a_failed_begin_does_not_block_the_name(tmp_path: Path) -> None:
    long = replace(shipped(12), sources=dict.fromkeys(shipped(12).values, "said at length " * 200))
    path = tmp_path / "x.fcr"
    silent = Odd()
    silent.hook = lambda number, data: data if number < 3 else b""
    with pytest.raises(LinkLostError):
        recorded_from(silent, path)
    assert not path.exists()
    recorded_from(Odd(), path, limits=long)
    read = read_native(path)
    assert read.limits == long
    assert read.trace.integrity == ()


def test_a_name_that_is_taken_is_refused_and_its_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "x.fcr"
    path.write_bytes(b"precious")
    with pytest.raises(UnwritableFileError, match="already there"):
        recorded_from(Odd(), path)
    assert path.read_bytes() == b"precious"


def test_the_boards_reason_cannot_steer_the_terminal(tmp_path: Path) -> None:
    def ending(frame: wire.Frame) -> wire.Frame:
        return (
            frame._replace(kind=wire.END, body=b'{"why": "\\u001b[2J\\nKey feed: PASS"}') if frame.kind == wire.BINS else frame
        )

    seen = 0

    def later(frame: wire.Frame) -> wire.Frame:
        nonlocal seen
        seen += frame.kind == wire.BINS
        return ending(frame) if seen > 20 else frame

    why = recorded_from(Odd(change=later), tmp_path / "x.fcr").why
    assert why == "the board ended the recording (\u241b[2J\u240aKey feed: PASS)"
