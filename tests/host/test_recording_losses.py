"""Every reading that is lost is a hole with exact bounds, at the begin, at the end and between; and clocks must agree."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from firstcrank import wire, wire_bodies
from firstcrank.tracefiles.native import from_bytes

from .recording_edits import frames_of, joined
from .sim_recording import recorded

PERIOD_S = 2e-6


def edited(change: Callable[[int, wire.Frame, wire_bodies.BinsHead], wire.Frame | None], name: str = "healthy") -> bytes:
    """The recording with each frame of bins as `change(which, frame, head)` returns it; None: lost."""
    out, number = [], 0
    for frame in frames_of(recorded(name)):
        kept: wire.Frame | None = frame
        if frame.kind == wire.BINS:
            kept = change(number, frame, wire_bodies.unpack_bins_head(frame.body))
            number += 1
        if kept is not None:
            out.append(kept)
    return joined(out)


def heads(data: bytes) -> list[wire_bodies.BinsHead]:
    return [wire_bodies.unpack_bins_head(f.body) for f in frames_of(data) if f.kind == wire.BINS]


def count_of(head: wire_bodies.BinsHead) -> int:
    return head.bin_count * head.conversions * head.channel_count


@pytest.mark.parametrize(("first", "past"), [(0, 1), (0, 7), (5, 6), (40, 60), (70, 71)])
def test_frames_lost_are_a_hole_from_the_last_reading_before_to_the_first_after(first: int, past: int) -> None:
    all_heads = heads(recorded("healthy"))
    trace = from_bytes(edited(lambda n, f, h: None if first <= n < past else f)).trace
    begin = all_heads[past].first_conversion if first == 0 else 0
    wanted_s = ((all_heads[first].first_conversion - begin) * PERIOD_S, (all_heads[past].first_conversion - begin) * PERIOD_S)
    assert len(trace.holes) == 1
    assert (trace.holes[0].start_s, trace.holes[0].end_s) == pytest.approx(wanted_s, abs=1e-9)
    assert any("frames did not arrive" in line for line in trace.notes)
    covered_s = float((trace.end_s - trace.start_s).sum()) + sum(h.end_s - h.start_s for h in trace.holes if h.start_s >= 0)
    assert covered_s == pytest.approx(float(trace.end_s[-1]), abs=1e-6)


def test_the_last_frames_lost_are_told() -> None:
    total = len(heads(recorded("healthy")))
    trace = from_bytes(edited(lambda n, f, h: None if n >= total - 3 else f)).trace
    assert [hole.why for hole in trace.holes] == ["the last readings did not arrive"]
    assert trace.holes[0].start_s == float(trace.end_s[-1])
    span_s = sum(count_of(h) for h in heads(recorded("healthy"))[-3:]) * PERIOD_S
    assert trace.holes[0].end_s - trace.holes[0].start_s >= span_s


def test_a_whole_recording_has_no_hole_and_no_doubt() -> None:
    for name in ("healthy", "runs_on", "feed_dead_in_start"):
        trace = from_bytes(recorded(name)).trace
        assert (trace.holes, trace.integrity) == ((), ())
        assert not any("did not arrive" in line for line in trace.notes)


def with_head(frame: wire.Frame, **changed: int) -> wire.Frame:
    import struct

    head = wire_bodies.unpack_bins_head(frame.body)._replace(**changed)
    return frame._replace(body=struct.pack(wire.BINS_FORMAT, *head) + frame.body[wire.BINS_BYTES :])


def test_a_loss_that_the_counter_tells_before_the_index_jumps_is_one_hole_with_the_right_cause() -> None:
    """The board counts at once and sends what is older first: the jump comes some frames later."""
    lost = 6000

    def change(n: int, frame: wire.Frame, head: wire_bodies.BinsHead) -> wire.Frame:
        jumped = head.first_conversion + (lost if n >= 60 else 0)
        return with_head(frame, lost_conversions=lost if n >= 50 else 0, first_conversion=jumped, ticks_us=ticks(head, jumped))

    trace = from_bytes(edited(change)).trace
    at_s = heads(recorded("healthy"))[60].first_conversion * PERIOD_S
    assert [(h.start_s, h.end_s) for h in trace.holes] == [pytest.approx((at_s, at_s + lost * PERIOD_S))]
    assert trace.holes[0].why == f"the board could not keep up ({lost} conversions lost)"


def ticks(head: wire_bodies.BinsHead, first: int) -> int:
    return (head.ticks_us + (first - head.first_conversion) * 2) % wire.TICKS_WRAP_US


def test_a_loss_that_only_the_counter_tells_takes_the_whole_frame() -> None:
    trace = from_bytes(edited(lambda n, f, h: with_head(f, lost_conversions=9 if n >= 50 else 0))).trace
    head = heads(recorded("healthy"))[50]
    (hole,) = trace.holes
    assert (hole.start_s, hole.end_s) == pytest.approx(
        (head.first_conversion * PERIOD_S, (head.first_conversion + count_of(head)) * PERIOD_S)
    )


@pytest.mark.parametrize(
    ("rate", "jump_us", "doubted"),
    [
        (1.0, 0, False),
        (1.0001, 0, False),
        (1.003, 0, False),
        (1.02, 0, True),
        (0.97, 0, True),
        (1.0, 2_000, False),
        (1.0, 700_000, True),
    ],
)
def test_the_boards_clock_is_held_against_its_count_of_conversions(rate: float, jump_us: int, doubted: bool) -> None:
    """A crystal is good to 100 ppm; a converter that runs slow, or a stop of the count, would move every time told."""
    start_us = wire.TICKS_WRAP_US - 3_000_000  # the clock wraps on the way

    def change(n: int, frame: wire.Frame, head: wire_bodies.BinsHead) -> wire.Frame:
        ticks_us = start_us + head.first_conversion * 2 * rate + (jump_us if n >= 50 else 0)
        return with_head(frame, ticks_us=int(ticks_us) % wire.TICKS_WRAP_US)

    trace = from_bytes(edited(change)).trace
    assert any("clock" in line for line in trace.integrity) is doubted


def with_counters(**counters: Any) -> bytes:
    out = []
    for f in frames_of(recorded("healthy")):
        if f.kind == wire.END:
            body = json.loads(f.body)
            body["counters"] |= counters
            f = f._replace(body=json.dumps(body).encode())
        out.append(f)
    return joined(out)


def test_what_the_board_counted_is_told() -> None:
    assert any("12 edges of the key feed" in line for line in from_bytes(with_counters(edges_dropped=12)).trace.notes)
    assert any("converter reported errors" in line for line in from_bytes(with_counters(converter_errors=1)).trace.notes)
    assert [h.why for h in from_bytes(with_counters(lost_bins=5)).trace.holes] == ["the last 5 bins were never sent"]
    absurd: list[object] = [None, "x", [], True, -3, 10**30]
    for odd in absurd:
        assert from_bytes(with_counters(lost_bins=odd)).trace.holes == ()


def test_a_board_that_starts_again_or_a_second_recording_behind_is_a_doubt() -> None:
    one, other = recorded("healthy"), recorded("feed_dead_in_start")
    assert any("started again" in line for line in from_bytes(one + other).trace.integrity)


def test_bins_of_the_wrong_length_are_a_hole() -> None:
    trace = from_bytes(edited(lambda n, f, h: f._replace(body=f.body[:-2]) if n == 70 else f)).trace
    assert len(trace.holes) == 1
    assert any("1 frames of the board hold no readings" in line for line in trace.notes)
