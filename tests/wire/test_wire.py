"""The wire on both interpreters: golden bytes, round trips, damage of every kind."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank import wire, wire_bodies
from tests.firmware.unix_board import interpreter

from . import golden

HERE = Path(__file__).parent
KINDS = st.integers(0, 255)
IDS = st.binary(min_size=8, max_size=8)
SEQUENCES = st.integers(0, 2**32 - 1)
BODIES = st.one_of(st.binary(max_size=600), st.integers(0, 520).map(lambda n: b"\x07" * n), st.just(b"\x00" * 300))
FRAMES = st.tuples(KINDS, IDS, SEQUENCES, BODIES)


def test_golden_bytes_on_cpython() -> None:
    golden.check(wire)


def test_golden_bytes_on_micropython() -> None:
    done = subprocess.run(
        [interpreter(), str(HERE / "golden_on_micropython.py"), str(HERE), str(Path(wire.__file__).parent)],
        capture_output=True,
        text=True,
    )
    assert done.stdout.strip() == "same bytes", done.stdout + done.stderr


def test_every_kind_has_golden_bytes() -> None:
    kinds = {chr(v) for k, v in vars(wire).items() if isinstance(v, int) and k.isupper() and v in range(0x41, 0x7B)}
    assert kinds - {"1"} == set(golden.GOLDEN)


def test_the_probe_is_an_identify_frame_and_printable() -> None:
    frame = wire.encode_frame(wire.IDENTIFY, wire.PROBE_ID, wire.PROBE_SEQUENCE, wire.PROBE_BODY)
    assert b"\x00" + frame == wire.PROBE
    inner = wire.PROBE.strip(b"\x00")
    assert len(inner) == len(wire.PROBE) - 2
    assert all(0x20 <= byte < 0x7F for byte in inner)


@given(FRAMES)
def test_round_trip(parts: tuple[int, bytes, int, bytes]) -> None:
    encoded = wire.encode_frame(*parts)
    assert encoded.count(b"\x00") == 1
    assert wire.decode_frame(encoded[:-1]) == wire.Frame(*parts)


@given(st.lists(FRAMES, max_size=6), st.data())
def test_any_way_of_cutting_the_stream_gives_the_same_frames(
    parts: list[tuple[int, bytes, int, bytes]], data: st.DataObject
) -> None:
    stream = b"".join(wire.encode_frame(*p) for p in parts)
    deframer, got, at = wire.Deframer(), [], 0
    while at < len(stream):
        step = data.draw(st.integers(1, max(len(stream) - at, 1)))
        got += deframer.feed(stream[at : at + step])
        at += step
    assert got == [wire.Frame(*p) for p in parts]
    assert deframer.bad_frames == 0


@given(st.lists(FRAMES, min_size=2, max_size=5), st.data())
def test_damage_never_makes_a_wrong_frame_and_the_stream_recovers(
    parts: list[tuple[int, bytes, int, bytes]], data: st.DataObject
) -> None:
    whole = [wire.encode_frame(*p) for p in parts]
    stream = bytearray(b"".join(whole))
    first = len(whole[0])
    last = len(stream) - len(whole[-1])
    where = data.draw(st.integers(0, last - 1))
    what = data.draw(st.sampled_from(["flip", "drop", "insert"]))
    if what == "flip":
        stream[where] ^= data.draw(st.integers(1, 255))
    elif what == "drop":
        del stream[where : where + data.draw(st.integers(1, first))]
    else:
        stream[where:where] = data.draw(st.binary(min_size=1, max_size=20))
    got = wire.Deframer().feed(bytes(stream))
    sent = [wire.Frame(*p) for p in parts]
    assert all(frame in sent for frame in got)
    if what != "drop" or len(stream) >= len(whole[-1]):
        assert got == [] or got[-1] == sent[-1] or what == "drop"


@given(st.binary(max_size=400), FRAMES)
def test_garbage_before_a_frame_costs_at_most_that_frame(garbage: bytes, parts: tuple[int, bytes, int, bytes]) -> None:
    deframer = wire.Deframer()
    deframer.feed(garbage + b"\x00")
    assert deframer.feed(wire.encode_frame(*parts)) == [wire.Frame(*parts)]


def test_an_endless_piece_is_dropped_and_counted() -> None:
    deframer = wire.Deframer()
    deframer.feed(b"\x11" * 100_000)
    assert deframer.bad_frames == 1
    frame = wire.encode_frame(wire.STATUS, golden.ID, 1, b"x")
    assert deframer.feed(b"\x11\x00" + frame) == [wire.Frame(wire.STATUS, golden.ID, 1, b"x")]


@pytest.mark.parametrize(
    "arguments",
    [
        (256, golden.ID, 0, b""),
        (1, b"short", 0, b""),
        (1, golden.ID, 2**32, b""),
        (1, golden.ID, -1, b""),
        (1, golden.ID, 0, b"x" * 4097),
    ],
)
def test_fields_out_of_range_are_refused(arguments: tuple[int, bytes, int, bytes]) -> None:
    with pytest.raises(ValueError, match="frame"):
        wire.encode_frame(*arguments)


@given(st.binary(max_size=300))
def test_random_bytes_are_no_frame(data: bytes) -> None:
    with pytest.raises(wire.FrameError):
        wire.decode_frame(data)


@pytest.mark.parametrize("body", [b"", b"\x00" * 35, b"\x00" * 35 + b"\x01" + b"\x00" * 5])
def test_bins_of_the_wrong_length_are_refused(body: bytes) -> None:
    with pytest.raises(wire.FrameError):
        wire_bodies.unpack_bins_head(body)
