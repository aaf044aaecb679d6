"""Recordings: read whole, torn at any byte, damaged anywhere, spliced, stale, judged again with other numbers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstcrank import wire
from firstcrank.analysis.verdict import judge
from firstcrank.calibration import OLDER, Calibration
from firstcrank.errors import UnreadableTraceError
from firstcrank.limits import shipped
from firstcrank.tracefiles.bin_arrays import unwrapped
from firstcrank.tracefiles.native import RecordingFile, from_bytes, read_native

from .sim_recording import recorded

FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def verdict_of(data: bytes) -> str:
    recording = from_bytes(data)
    return judge(recording.trace, recording.limits or shipped(12), recording.context).verdict


def test_a_whole_recording_reads_back() -> None:
    recording = from_bytes(recorded("healthy"))
    trace = recording.trace
    assert trace.complete
    assert trace.holes == ()
    assert set(trace.channels) == {"battery", "key_switch", "starter_coil"}
    assert recording.calibration is not None
    assert recording.limits == shipped(12)
    assert recording.context.cranked_with_key is True
    assert recording.meta["synthetic"] is True
    assert np.all(np.diff(trace.start_s) > 0)
    assert np.all(trace.end_s[:-1] <= trace.start_s[1:] + 1e-9)
    assert verdict_of(recorded("healthy")) == "PASS"


def test_a_recording_with_an_older_calibration_is_judged_with_a_note() -> None:
    """Without the terms that came later: usual ones, told in the trace."""
    now = from_bytes(recorded("healthy")).calibration
    assert now is not None
    table: dict[str, Any] = {**now.to_json()}
    newer = ("terms", "shared", "pivot_v", "converter")
    table["channels"] = {r: {k: v for k, v in c.items() if k not in newer} for r, c in table["channels"].items()}
    trace = from_bytes(recorded("healthy"), Calibration.from_json(table)).trace
    assert trace.notes[0] == OLDER
    assert trace.channels["battery"].uncertainty.shared_drift_rel > 0.0
    assert OLDER not in from_bytes(recorded("healthy")).trace.notes


@FEW
@given(st.data())
def test_torn_at_any_byte_it_reads_or_says_why_and_never_passes_without_its_end(data: st.DataObject) -> None:
    whole = recorded("healthy")
    cut = data.draw(st.integers(0, len(whole) - 1))
    try:
        recording = from_bytes(whole[:cut])
    except UnreadableTraceError:
        return
    judged = judge(recording.trace, shipped(12), recording.context)
    if recording.trace.end_s[-1] < 8.0 or not recording.trace.complete:
        assert judged.verdict != "PASS"


@FEW
@given(st.data())
def test_damage_inside_the_crank_is_a_hole_and_never_a_pass(data: st.DataObject) -> None:
    whole = bytearray(recorded("healthy"))
    trace = from_bytes(bytes(whole)).trace
    crank = judge(trace, shipped(12), from_bytes(bytes(whole)).context).cranks[0]
    length = float(trace.end_s[-1])
    low, high = (int(len(whole) * (s / length)) for s in (crank.start_s + 0.5, crank.end_s - 0.5))
    at = data.draw(st.integers(low, high))
    for _ in range(data.draw(st.integers(1, 4))):
        whole[at] ^= data.draw(st.integers(1, 255))
        at += data.draw(st.integers(1, 200))
    recording = from_bytes(bytes(whole))
    judged = judge(recording.trace, shipped(12), recording.context)
    assert any("damaged" in note for note in recording.trace.notes)
    if len(recording.trace) < len(trace):
        assert judged.verdict == "NO VERDICT"
    else:  # only a frame without readings was hit (counters, a repeated description)
        assert recording.trace.holes == ()
        assert judged.verdict == "PASS"


def test_judged_again_with_another_calibration_and_other_limits(tmp_path: Path) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("healthy"))
    first = read_native(path)
    assert first.calibration is not None
    doubled = {
        role: replace(line, gain_v_per_code=line.gain_v_per_code * 2) for role, line in first.calibration.channels.items()
    }
    again = read_native(path, Calibration("nominal", doubled))
    ratio = again.trace.channels["battery"].mean_v / first.trace.channels["battery"].mean_v
    assert float(ratio.mean()) == pytest.approx(2.0, abs=0.01)
    strict = replace(shipped(12), values={**shipped(12).values, "module_minimum_v": 11.9, "feed_live_v": 5.0})
    assert judge(first.trace, strict, first.context).verdict == "FAIL"


def test_without_a_calibration_there_is_no_verdict() -> None:
    frames = list(wire.Deframer().feed(recorded("healthy")))
    kept = [f for f in frames if not (f.kind == wire.NOTE and b'"calibration"' in f.body[:24])]
    out = bytearray()
    for frame in kept:
        body = frame.body.replace(b'"calibration"', b'"another_thing"') if frame.kind == wire.STREAM else frame.body
        out += wire.encode_frame(frame.kind, frame.recording_id, frame.sequence, body)
    recording = from_bytes(bytes(out))
    judged = judge(recording.trace, shipped(12), recording.context)
    assert judged.verdict == "NO VERDICT"
    assert "calibration" in judged.reasons[0]


def test_stale_bytes_of_an_earlier_recording_are_left_out() -> None:
    earlier = wire.Deframer().feed(recorded("feed_dead_in_start"))
    stale = b"".join(wire.encode_frame(*f) for f in earlier if f.kind == wire.BINS)[-4000:]
    whole = recorded("healthy")
    first_note = whole.index(b"\x00", 1) + 1
    mixed = whole[:first_note] + stale + whole[first_note:]
    assert verdict_of(mixed) == "PASS"
    assert any("earlier recording" in note for note in from_bytes(mixed).trace.notes)


def test_two_recordings_spliced_are_a_board_that_started_again() -> None:
    one, other = recorded("healthy"), recorded("feed_dead_in_start")
    half = one[: one.index(b"\x00", len(one) // 2) + 1]
    recording = from_bytes(half + other[len(other) // 2 :])
    assert any("started again" in note for note in recording.trace.notes)
    assert judge(recording.trace, shipped(12), recording.context).verdict == "NO VERDICT"


@pytest.mark.parametrize("data", [b"\x00\x00", b"hello", b"\x89PNG\r\n\x1a\n" * 40, bytes(range(256)) * 8])
def test_foreign_files_are_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "foreign.fcr"
    path.write_bytes(data)
    with pytest.raises(UnreadableTraceError, match="not a firstcrank recording"):
        read_native(path)


def test_empty_and_missing_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "empty.fcr").write_bytes(b"")
    with pytest.raises(UnreadableTraceError, match="empty"):
        read_native(tmp_path / "empty.fcr")
    with pytest.raises(UnreadableTraceError, match="No such file"):
        read_native(tmp_path / "nothing.fcr")


def test_ticks_are_unwrapped() -> None:
    ticks = np.array([wire.TICKS_WRAP_US - 100, wire.TICKS_WRAP_US - 1, 50, 400], dtype=np.int64)
    assert np.diff(unwrapped(ticks)).tolist() == [99, 51, 350]


def test_a_note_never_lands_inside_a_frame(tmp_path: Path) -> None:
    frame = wire.encode_frame(wire.STATUS, b"12345678", 1, b"{}")
    file = RecordingFile(tmp_path / "x.fcr", b"12345678")
    file.write(frame[:7])
    file.note("answers", cylinders=6)
    file.write(frame[7:])
    file.close()
    deframer = wire.Deframer()
    kinds = [f.kind for f in deframer.feed((tmp_path / "x.fcr").read_bytes())]
    assert kinds == [wire.NOTE, wire.STATUS]
    assert deframer.bad_frames == 0
