"""Recordings damaged in every way a file can be: they read or say why, and a crank with a hole in it is never a PASS."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from firstcrank import wire, wire_bodies
from firstcrank.analysis.verdict import judge
from firstcrank.errors import UnreadableTraceError, UnwritableFileError
from firstcrank.limits import shipped
from firstcrank.recording import Recording
from firstcrank.tracefiles.native import RecordingFile, from_bytes

from .sim_recording import recorded

FEW = settings(
    max_examples=20,
    deadline=None,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow],
)


def frames_of(name: str = "healthy") -> list[wire.Frame]:
    return wire.Deframer().feed(recorded(name))


def joined(frames: list[wire.Frame]) -> bytes:
    return b"".join(wire.encode_frame(f.kind, f.recording_id, f.sequence, f.body) for f in frames)


def read(data: bytes) -> Recording | None:
    """The recording, or None where the reader says that it cannot be read: nothing else may come out of it."""
    try:
        return from_bytes(data)
    except UnreadableTraceError:
        return None


def verdict_of(recording: Recording) -> str:
    return judge(recording.trace, recording.limits or shipped(12), recording.context).verdict


def without_crank_frames(first: int, count: int) -> tuple[bytes, float]:
    """The healthy recording without `count` BINS frames, from the share `first` per mille of its crank on; and their time."""
    frames = frames_of()
    whole = from_bytes(recorded("healthy"))
    crank = judge(whole.trace, shipped(12), whole.context).cranks[0]
    period_s = next(json.loads(f.body)["conversion_ns"] for f in frames if f.kind == wire.STREAM) * 1e-9
    at_s = crank.start_s + (crank.end_s - crank.start_s) * first / 1000.0
    inside = [
        i
        for i, f in enumerate(frames)
        if f.kind == wire.BINS and wire_bodies.unpack_bins_head(f.body).first_conversion * period_s >= at_s
    ]
    gone = set(inside[:count])
    return joined([f for i, f in enumerate(frames) if i not in gone]), at_s


@FEW
@given(first=st.integers(0, 950), count=st.integers(1, 40))
def test_frames_lost_in_the_crank_are_never_a_pass(first: int, count: int) -> None:
    data, at_s = without_crank_frames(first, count)
    recording = read(data)
    assert recording is not None
    assert any(abs(hole.start_s - at_s) < 0.2 for hole in recording.trace.holes)
    assert verdict_of(recording) == "NO VERDICT"


@FEW
@given(
    flips=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), min_size=1, max_size=12),
    cut=st.one_of(st.none(), st.floats(0, 1)),
    name=st.sampled_from(["healthy", "feed_dead_in_start"]),
)
def test_any_bytes_changed_anywhere_never_raise_and_never_pass_over_a_hole(
    flips: list[tuple[float, int]], cut: float | None, name: str
) -> None:
    data = bytearray(recorded(name))
    for place, change in flips:
        data[int(place * len(data))] ^= change
    recording = read(bytes(data[: int(cut * len(data))] if cut is not None else data))
    if recording is None:
        return
    judged = judge(recording.trace, recording.limits or shipped(12), recording.context)
    if judged.verdict == "PASS":
        assert name == "healthy"
        crank = judged.cranks[0]
        assert not [h for h in recording.trace.holes if h.end_s > crank.start_s - 0.1 and h.start_s < crank.end_s + 2.0]


ODD: list[Any] = [None, -1, 0, 1e300, "x", [], {}, [1], True, 10**30, [{}], ["a", "b", "c"], [{"role": "battery"}] * 3]


@FEW
@given(data=st.data())
def test_wrong_values_behind_a_right_checksum_never_raise(data: st.DataObject) -> None:
    frames = frames_of()
    tables = [i for i, f in enumerate(frames) if f.kind in (wire.NOTE, wire.STREAM, wire.END)]
    for _ in range(data.draw(st.integers(1, 3))):
        i = data.draw(st.sampled_from(tables))
        table = json.loads(frames[i].body)
        target = next((table[k] for k in ("calibration", "limits") if isinstance(table.get(k), dict)), table)
        target[data.draw(st.sampled_from(sorted(target) or ["x"]))] = data.draw(st.sampled_from(ODD))
        frames[i] = frames[i]._replace(body=json.dumps(table).encode())
    recording = read(joined(frames))
    if recording is not None:
        verdict_of(recording)


@FEW
@given(data=st.data())
def test_wrong_numbers_in_a_bins_head_never_raise(data: st.DataObject) -> None:
    frames = frames_of()
    bins = [i for i, f in enumerate(frames) if f.kind == wire.BINS]
    i = data.draw(st.sampled_from(bins))
    head = data.draw(st.binary(min_size=wire.BINS_BYTES, max_size=wire.BINS_BYTES))
    frames[i] = frames[i]._replace(body=head + frames[i].body[wire.BINS_BYTES :])
    recording = read(joined(frames))
    if recording is not None:
        verdict_of(recording)


def test_a_counter_that_rises_in_the_crank_is_a_hole_although_every_frame_came() -> None:
    frames = frames_of()
    bins = [i for i, f in enumerate(frames) if f.kind == wire.BINS]
    for i in bins[len(bins) // 2 :]:
        body = bytearray(frames[i].body)
        body[16:20] = (7).to_bytes(4, "little")  # lost_conversions
        frames[i] = frames[i]._replace(body=bytes(body))
    recording = from_bytes(joined(frames))
    assert [hole.why for hole in recording.trace.holes] == ["the board could not keep up (7 conversions lost)"]


def test_a_damaged_note_of_the_calibration_is_taken_from_its_copy_and_without_it_there_are_no_volts() -> None:
    frames = frames_of()
    notes = [i for i, f in enumerate(frames) if f.kind == wire.NOTE and json.loads(f.body)["note"] == "calibration"]
    assert len(notes) >= 6  # begin, middle and end, two pieces each
    once = from_bytes(joined([f for i, f in enumerate(frames) if i not in notes[:4]]))
    assert verdict_of(once) == "PASS"
    assert not once.trace.integrity
    assert any("recorder's notes are damaged" in note for note in once.trace.notes)
    never = from_bytes(joined([f for i, f in enumerate(frames) if i not in notes]))
    assert never.calibration is None
    assert never.trace.integrity == ("every copy of the calibration is lost",)
    assert verdict_of(never) == "NO VERDICT"


def test_a_file_or_folder_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    taken = tmp_path / "start.fcr"
    taken.write_bytes(b"precious")
    with pytest.raises(UnwritableFileError, match="already there"):
        RecordingFile(taken, b"12345678")
    with pytest.raises(UnwritableFileError, match="cannot be written"):
        RecordingFile(tmp_path / "no" / "folder" / "start.fcr", b"12345678")
    assert taken.read_bytes() == b"precious"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full, a disk that is always full (Linux)")
def test_a_full_disk_says_so(tmp_path: Path) -> None:
    file = RecordingFile(tmp_path / "start.fcr", b"12345678")
    file._file.close()
    with Path("/dev/full").open("wb", buffering=0) as full:
        file._file = full
        with pytest.raises(UnwritableFileError, match="No space left"):
            file.note("host")
