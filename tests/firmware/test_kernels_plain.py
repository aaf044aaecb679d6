"""The plain kernels on CPython: what the compiled twins are measured against is itself right."""

from __future__ import annotations

from array import array
from binascii import crc32

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firstcrank import wire, wire_bodies
from firstcrank_sim.board.firmware_program import load

from .scripted_board import CHANNELS, ID, ScriptedBoard

CODES = st.one_of(st.integers(0, 4095), st.sampled_from((0, 1899, 1900, 1901, 4095)))


@given(st.data())
def test_fold_by_numpy(data: st.DataObject) -> None:
    """Mean to the nearest sixteenth, extremes, and runs counted by looking for them in a string."""
    fold = load("fold")
    channels = data.draw(st.integers(1, 8))
    samples = data.draw(st.integers(1, 60))
    key = data.draw(st.sampled_from([*range(channels), channels, fold.NO_KEY]))
    trigger = data.draw(st.sampled_from((0, 1900, 4096)))
    first, at = data.draw(st.integers(0, 5)), data.draw(st.integers(0, 9))
    codes = data.draw(st.lists(CODES, min_size=first + samples * channels, max_size=first + samples * channels))
    out = bytearray(b"\xa5" * (at + wire.bin_bytes(channels) + 3))
    fold.fold(array("H", codes), out, array("i", [first, samples, channels, key, trigger, at]))
    assert bytes(out[:at]) == b"\xa5" * at
    assert bytes(out[-3:]) == b"\xa5" * 3
    values = np.frombuffer(bytes(out[at:-3]), dtype="<u2")
    table = np.array(codes[first:]).reshape(samples, channels)
    assert (np.abs(values[: 3 * channels : 3] - table.mean(axis=0) * wire.MEAN_SCALE) <= 0.5 + 1e-9).all()
    assert (values[1 : 3 * channels : 3] == table.min(axis=0)).all()
    assert (values[2 : 3 * channels : 3] == table.max(axis=0)).all()
    text = "".join("L" if code < trigger else "h" for code in table[:, key]) if key < channels else ""
    longest = max(map(len, text.split("h")))
    head, tail = len(text) - len(text.lstrip("L")), len(text) - len(text.rstrip("L"))
    assert values[3 * channels :].tolist() == [longest, head, tail]


@given(st.one_of(st.binary(max_size=900), st.integers(0, 900).map(lambda n: b"\x01" * n), st.just(bytes(600))))
def test_stuff_is_the_hosts_stuffing(data: bytes) -> None:
    target = bytearray(len(data) + 2 + len(data) // 254)
    length = load("stuff").stuff(data, len(data), target)
    assert bytes(target[:length]) == wire.cobs_encode(data) + b"\x00"
    assert wire.cobs_decode(bytes(target[: length - 1])) == data


@given(st.binary(max_size=900))
def test_crc_is_zlibs(data: bytes) -> None:
    buffer = bytearray(data + bytes(4))
    load("framing").crc_into(buffer, len(data), None)
    assert buffer == data + crc32(data).to_bytes(4, "little")


def test_the_table_of_the_compiled_checksums_is_the_one_of_zlib() -> None:
    """A byte's entry is the checksum of that byte with the first and last inversion taken back (RFC 1952, section 8)."""
    values = load("crc_table").table()
    assert [crc32(bytes([n])) for n in range(256)] == [values[n ^ 255] ^ 0xFF000000 for n in range(256)]


@given(st.binary(min_size=8, max_size=8), st.integers(0, 2**32 - 1), st.integers(0, 255), st.integers(1, 8), st.integers(1, 64))
def test_header_and_padding(identity: bytes, sequence: int, kind: int, blocks: int, length: int) -> None:
    framing = load("framing")
    plain = bytearray(wire.HEADER_BYTES)
    framing.header(plain, wire.VERSION, kind, identity, sequence)
    assert wire.decode_frame(wire.encode_frame(kind, identity, sequence, b"")[:-1])[:3] == (kind, identity, sequence)
    assert bytes(plain) == wire.cobs_decode(wire.encode_frame(kind, identity, sequence, b"")[:-1])[: wire.HEADER_BYTES]
    target = bytearray(b"\xa5" * 128)
    end = framing.pad(target, length, 64)
    assert end % 64 == 0
    assert 0 <= end - length < 64
    assert bytes(target) == b"\xa5" * length + bytes(end - length) + b"\xa5" * (128 - end)


@given(st.data())
def test_bins_body_is_what_the_host_reads(data: st.DataObject) -> None:
    """Indexes and clocks round their wraps, blocks alike and not."""
    framing = load("framing")
    channels, group = data.draw(st.integers(1, 8)), data.draw(st.integers(1, 3))
    uniform = data.draw(st.booleans())
    values = 3 if uniform else 6
    capacity = 4
    blocks = data.draw(st.integers(1, 3))
    first = data.draw(st.integers(0, capacity - blocks))
    bits30 = st.one_of(st.integers(0, 2**30 - 1), st.just(2**30 - 1))
    headers = array("i", data.draw(st.lists(bits30, min_size=values * capacity, max_size=values * capacity)))
    conversions = data.draw(st.integers(1, 65535))
    small = st.integers(0, 100000)
    for n in range(0 if uniform else capacity):
        headers[6 * n + 3 : 6 * n + 6] = array("i", [data.draw(small), data.draw(small), conversions])
    block_bytes = group * wire.bin_bytes(channels)
    bins = data.draw(st.binary(min_size=capacity * block_bytes, max_size=capacity * block_bytes))
    lost = data.draw(st.tuples(bits30, bits30, bits30))
    span, gap = data.draw(small), data.draw(small)
    job = array("i", [first, blocks, block_bytes, blocks * group, channels, *lost, values, span, gap, conversions])
    plain = bytearray(wire.HEADER_BYTES + wire.BINS_BYTES + blocks * block_bytes)
    assert framing.bins_body(plain, headers, bins, job) == len(plain)
    head = wire_bodies.unpack_bins_head(bytes(plain[wire.HEADER_BYTES :]))
    at, last = first * values, (first + blocks - 1) * values
    if not uniform:
        span = headers[last + 3]
        gap = max(headers[n * 6 + 4] for n in range(first, first + blocks))
    assert head.first_conversion == (headers[at + 1] << 30) + headers[at]
    assert head.ticks_us == headers[at + 2]
    assert head.span_us == (headers[last + 2] - headers[at + 2]) % 2**30 + span
    assert (head.lost_conversions, head.lost_bins, head.short_writes) == lost
    assert (head.worst_gap_us, head.conversions) == (gap, conversions)
    assert (head.bin_count, head.channel_count) == (blocks * group, channels)
    assert bytes(plain[wire.HEADER_BYTES + wire.BINS_BYTES :]) == bins[first * block_bytes : (first + blocks) * block_bytes]


def test_the_outbox_frames_what_the_ring_holds() -> None:
    board = ScriptedBoard()
    board.ask(wire.START, {})
    board.steps(500)
    frames = [f for f in board.received if f.kind == wire.BINS]
    assert {f.recording_id for f in frames} == {ID}
    codes = [
        int(code)
        for f in frames
        for code in np.frombuffer(f.body, "<u2", offset=wire.BINS_BYTES).reshape(-1, 3 * len(CHANNELS) + 3)[:, 1]
    ]
    assert codes == list(range(len(codes)))
    assert len(codes) > 400
