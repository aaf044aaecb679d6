"""The shipped firmware on the official image: every conversion is folded, none is lost unseen, the link may do what it likes.

One boot for all tests (booting takes half a minute), so each test starts and stops a recording of its own.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from firstcrank import wire, wire_bodies

from . import flash_image
from .dropouts import STEADY, TRIGGER, Dropouts
from .emulator import EmulatedChip
from .image import micropython_image
from .session import ID, Session
from .sweep import KEY as KEY_CHANNEL
from .sweep import sweep

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
long = pytest.mark.skipif(
    os.environ.get("FIRSTCRANK_CHIP_LONG") != "1", reason="takes minutes on the emulated chip: set FIRSTCRANK_CHIP_LONG=1"
)
LOW, KEY = 1, 4  # word of a bin: lowest code of channel 0; of the key feed


@pytest.fixture(scope="module")
def dropouts() -> Dropouts:
    return Dropouts()


@pytest.fixture(scope="module")
def booted(dropouts: Dropouts) -> Session:
    return Session(dropouts)


@pytest.fixture
def board(booted: Session, dropouts: Dropouts) -> Iterator[Session]:
    dropouts.clear()
    booted.frames.clear()
    yield booted
    booted.chip.stall(False)
    booted.chip.set_port_open(True)


def contiguous(heads: list[tuple[wire_bodies.BinsHead, np.ndarray]]) -> bool:
    """Each frame goes on where the one before ended."""
    return all(
        b.first_conversion == a.first_conversion + a.bin_count * a.conversions * a.channel_count
        for (a, _), (b, _) in itertools.pairwise(heads)
    )


def test_the_compiled_kernels_are_the_ones_that_run(board: Session) -> None:
    assert board.identity["compiled"] is True


def test_every_conversion_is_in_a_bin(board: Session) -> None:
    before = board.chip.conversions
    stream = board.start()
    assert stream["acquisition"] == "rp2_dma"
    assert stream["conversions_per_bin"] == 128
    board.chip.run(0.2)
    end = board.stop()
    heads = board.heads()
    made = board.chip.conversions - before
    folded = sum(h.bin_count * h.conversions * h.channel_count for h, _ in heads)
    assert contiguous(heads)
    assert int(end["conversions"]) == folded
    assert end["lost_conversions"] == end["lost_bins"] == end["fifo_overflows"] == end["ring_overruns"] == 0
    assert 0 <= made - folded <= 3 * 1536 + 8  # the block and the segment that were being filled when the converter was stopped
    for head, fields in heads:
        assert head.channel_count == 3
        for channel in range(3):
            assert (fields[:, 3 * channel] == STEADY[channel] * wire.MEAN_SCALE).all()
            assert (fields[:, 3 * channel + 1] == STEADY[channel]).all()
            assert (fields[:, 3 * channel + 2] == STEADY[channel]).all()


@long
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_a_dropout_of_one_round_is_always_seen(board: Session, dropouts: Dropouts, channel: int) -> None:
    rng = np.random.default_rng(channel)
    board.start(trigger_code=TRIGGER)
    at_s = board.chip.now_s + 0.002 + np.arange(20) * 0.004 + rng.uniform(0, 0.003, 20)
    for start_s in at_s:
        dropouts.add(channel, float(start_s), 6.001e-6)
    board.chip.run(0.1)
    board.stop()
    fields = np.concatenate([w for _, w in board.heads()])
    assert (fields[:, 3 * channel + LOW] < TRIGGER).sum() == 20


@long
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_dropouts_of_every_length_against_what_the_converter_can_do(board: Session, dropouts: Dropouts, channel: int) -> None:
    for swept in sweep(board, dropouts, channel):
        if swept.length_us >= 6.001:
            assert swept.caught == swept.played, swept
        assert swept.caught <= swept.played, swept
        if channel == KEY_CHANNEL:
            assert len(swept.errors_s) == swept.caught
            assert all(abs(error_s) <= 6.001e-6 for error_s in swept.errors_s), swept


def test_runs_and_close_up_of_a_short_dropout(board: Session, dropouts: Dropouts) -> None:
    board.start(trigger_code=TRIGGER)
    board.chip.run(0.02)
    dropouts.add(1, board.chip.now_s + 0.0123, 100e-6)
    board.chip.run(0.25)
    end = board.stop()
    fields = np.concatenate([w for _, w in board.heads()])
    longest, touching = fields[:, 9].max(), (fields[:-1, 11] + fields[1:, 10]).max()  # it may lie across two bins
    assert max(longest, touching) in (16, 17)  # 100 us in steps of 6 us
    assert contiguous(board.heads())
    close_ups = board.close_ups()
    assert sorted(close_ups) == [0, 1]
    assert end["edges"] == 2
    assert end["edges_dropped"] == 0
    (fall, first, codes, whole), (rise, _, _, whole_too) = close_ups[0], close_ups[1]
    assert whole
    assert whole_too
    assert (fall.falling, rise.falling) == (1, 0)
    assert abs((rise.edge_conversion - fall.edge_conversion) * 2e-6 - 100e-6) < 10e-6
    assert 2000 <= fall.edge_conversion - first < 2008  # 4 ms before, in groups of eight
    assert first + len(codes) - fall.edge_conversion == 4000  # 8 ms after
    channels = (first + np.arange(len(codes))) % 3
    for channel in (0, 2):
        assert (codes[channels == channel] == STEADY[channel]).all()
    key = codes[channels == 1]
    assert set(np.unique(key)) == {300, STEADY[1]}
    assert (key < TRIGGER).sum() in (16, 17)


@long
def test_four_edges_far_apart_each_have_their_close_up(board: Session, dropouts: Dropouts) -> None:
    board.start(trigger_code=TRIGGER)
    begin_s = board.chip.now_s + 0.02
    dropouts.add(1, begin_s, 0.015)
    dropouts.add(1, begin_s + 0.03, 0.015)
    board.chip.stall(True)  # nothing can be sent meanwhile: all four must find room
    board.chip.run(0.12)
    board.chip.stall(False)
    board.chip.run(0.3)
    end = board.stop()
    assert end["edges_dropped"] == 0
    close_ups = board.close_ups()
    assert sorted(close_ups) == [0, 1, 2, 3]
    edges = [close_ups[n][0].edge_conversion for n in range(4)]
    assert np.allclose(np.diff(edges) * 2e-6, 0.015, atol=10e-6)
    for head, first, codes, whole in close_ups.values():
        assert whole
        assert head.edge_conversion - first >= 2000
        assert first + len(codes) - head.edge_conversion >= 4000
        channels = (first + np.arange(len(codes))) % 3
        assert (codes[channels == 0] == STEADY[0]).all()
    assert contiguous(board.heads())


@long
def test_a_host_that_stops_reading_for_a_second_costs_no_bin(board: Session) -> None:
    """A second and a half, for MicroPython gives up a waiting write after one; again where the last piece just fitted its buffer."""
    board.start()
    for _ in range(5):
        board.chip.run(0.0531)
        board.chip.stall(True)
        board.chip.run(0.01)
        board.pull()
        board.chip.run(1.5)
        assert not board.chip.received  # the stall was real
        board.chip.stall(False)
        board.chip.run(0.4)
        board.send(wire.GET_STATUS, None, ID)
        if board.wait(wire.STATUS, 1.0)["short_writes"]:
            break
    end = board.stop()
    assert end["short_writes"] > 0  # and the firmware saw its write cut short
    assert end["lost_bins"] == end["lost_conversions"] == 0
    assert contiguous(board.heads())


@long
def test_a_stall_longer_than_the_ring_is_counted_and_the_stream_goes_on(board: Session) -> None:
    """As long as a suspended bus may hold a write: what found no room is counted, and the index jumps by as much."""
    board.start()
    board.chip.run(0.05)
    board.chip.stall(True)
    board.chip.run(3.0)
    board.chip.stall(False)
    board.chip.run(0.5)
    end = board.stop()
    heads = [h for h, _ in board.heads()]
    missing = sum(
        b.first_conversion - a.first_conversion - a.bin_count * a.conversions * 3 for a, b in itertools.pairwise(heads)
    )
    assert end["lost_conversions"] == 0  # all were counted
    assert end["lost_bins"] > 500
    assert missing == end["lost_bins"] * 128 * 3
    assert heads[-1].lost_bins == end["lost_bins"]


@long
def test_a_closed_port_leaves_a_gap_that_shows(board: Session) -> None:
    """With DTR low MicroPython takes every write and drops it, so the board cannot count: the conversion index tells."""
    board.start()
    board.chip.run(0.05)
    board.chip.set_port_open(False)
    board.chip.run(0.2)
    board.chip.set_port_open(True)
    board.chip.run(0.2)
    end = board.stop()
    heads = [h for h, _ in board.heads()]
    assert end["lost_bins"] == end["lost_conversions"] == 0
    missing = sum(
        b.first_conversion - a.first_conversion - a.bin_count * a.conversions * 3 for a, b in itertools.pairwise(heads)
    )
    assert 0 <= missing <= 0.25 * 500_000
    assert int(end["conversions"]) == heads[-1].first_conversion + heads[-1].bin_count * heads[-1].conversions * 3


def test_garbage_and_ctrl_c_do_not_disturb(board: Session) -> None:
    board.start()
    board.chip.write(b"\x03\x03import os\r\n" + bytes(range(256)) * 2)
    board.chip.run(0.2)
    board.send(wire.GET_STATUS, None, ID)
    status = board.wait(wire.STATUS, 1.0)
    assert status["state"] == "recording"
    assert status["bad_commands"] > 0
    end = board.stop()
    assert end["lost_bins"] == end["lost_conversions"] == 0
    assert contiguous(board.heads())


def test_a_flood_of_commands_costs_no_bin(board: Session) -> None:
    board.start()
    for _ in range(16):
        board.send(wire.GET_STATUS, None, ID)
    board.chip.run(0.3)
    board.send(wire.IDENTIFY)
    assert board.wait(wire.IDENTITY, 1.0)["product"] == "firstcrank"
    board.pull()
    assert sum(frame.kind == wire.STATUS for frame in board.frames) >= 4  # as many as it had room for
    end = board.stop()
    assert end["lost_bins"] == end["lost_conversions"] == 0
    assert contiguous(board.heads())


@long
def test_no_edge_makes_the_interrupt_long(board: Session, dropouts: Dropouts) -> None:
    """Single and together, at any phase, a burst of contacts among them."""
    rng = np.random.default_rng(3)
    board.start(trigger_code=TRIGGER)
    for turn in range(6):
        at_s = board.chip.now_s + float(rng.uniform(0.001, 0.006))
        for _ in range(1 + 3 * (turn % 3)):
            dropouts.add(1, at_s, 60e-6)
            at_s += 150e-6
        board.chip.run(0.05)
    end = board.stop()
    assert end["edges"] + end["edges_dropped"] == 2 * (1 + 4 + 7) * 2
    assert end["worst_callback_us"] <= 400
    assert end["lost_bins"] == end["lost_conversions"] == 0


def test_a_converter_error_is_a_hole_and_told(board: Session) -> None:
    board.start()
    board.chip.run(0.05)
    board.chip.mcu.adc.cs |= 1 << 10  # ERR_STICKY
    board.chip.run(0.3)  # the error is seen as a frame is due, every 98 ms; then bins behind it must come
    end = board.stop()
    assert (end["converter_errors"], end["fifo_overflows"]) == (1, 0)
    assert end["restarts"] >= 1
    assert end["lost_conversions"] > 0
    assert not contiguous(board.heads())


def test_a_fifo_overflow_is_counted_and_channels_stay_apart(board: Session) -> None:
    board.start()
    board.chip.run(0.05)
    board.chip.mcu.adc.fcs |= 1 << 11  # OVER: a conversion was dropped
    board.chip.run(0.3)  # the error is seen as a frame is due, every 98 ms; then bins behind it must come
    end = board.stop()
    assert end["fifo_overflows"] == 1
    assert end["restarts"] == 1
    assert end["lost_conversions"] > 0
    heads = board.heads()
    assert not contiguous(heads)
    missing = sum(
        b.first_conversion - a.first_conversion - a.bin_count * a.conversions * 3
        for (a, _), (b, _) in itertools.pairwise(heads)
    )
    assert missing == end["lost_conversions"]
    fields = np.concatenate([w for _, w in heads])
    assert (fields[:, LOW] == STEADY[0]).all()
    assert (fields[:, KEY] == STEADY[1]).all()


def test_the_emulators_round_robin_needs_the_correction(tmp_path: Path) -> None:
    """Without CorrectedAdc the emulator never leaves channel 0 and the tests above would test nothing."""
    image = micropython_image()
    flash = tmp_path / "flash.img"
    flash_image.build(flash, {})
    for corrected, expected in ((False, {0}), (True, {0, 1, 2})):
        chip = EmulatedChip(image, flash, Dropouts(), corrected=corrected)
        chip.mcu.adc.write_uint32(0, 0b111 << 16 | 1 << 3 | 1)  # RROBIN of three, START_MANY, EN
        chip.clock.tick(60_000)
        assert {n for n in range(5) if chip.conversions_by_channel[n]} == expected
