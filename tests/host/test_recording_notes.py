"""Limits, answers, calibration and identity of a recording: any whole copy serves, their loss is told and never made up for."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcrank import wire
from firstcrank.board.alone import packed_limits
from firstcrank.board.captures import write_recording
from firstcrank.calibration import Calibration
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import RecordingFile, from_bytes, read_native
from firstcrank.tracefiles.notes import PROTECTED, note_bodies, read_notes

from .recording_edits import as_format_1, frames_of, joined, note_of, without
from .sim_recording import recorded

NOTE_LABELS = {
    "identity": "every copy of the recording's identity is lost",
    "calibration": "every copy of the calibration is lost",
    "limits": "every copy of the limits is lost",
    "answers": "every copy of the answers is lost",
}
ID = b"12345678"


def of_copy(kept: int, pieces: int, n: int, _of: int) -> bool:
    """Whether note `n` is a piece of the copy `kept`."""
    return n // pieces == kept


@pytest.mark.parametrize("kind", PROTECTED)
def test_any_one_copy_serves_and_without_one_the_loss_is_told(kind: str) -> None:
    whole = recorded("healthy")
    reference = from_bytes(whole)
    copies = len({f.sequence for f in frames_of(whole) if note_of(f) == kind})
    pieces = json.loads(next(f.body for f in frames_of(whole) if note_of(f) == kind))["pieces"]
    assert copies >= 3 * pieces
    for kept in range(copies // pieces):
        read = from_bytes(without(whole, kind, keep=partial(of_copy, kept, pieces)))
        assert read.trace.integrity == ()
        assert (read.limits, read.context, read.calibration) == (reference.limits, reference.context, reference.calibration)
        assert read.trace.kind == "start"
    lost = from_bytes(without(whole, kind))
    assert lost.trace.integrity == (NOTE_LABELS[kind],)
    assert {"limits": lost.limits, "calibration": lost.calibration}.get(kind) is None


def test_a_copy_is_put_together_from_pieces_of_several() -> None:
    whole = recorded("healthy")
    pieces = json.loads(next(f.body for f in frames_of(whole) if note_of(f) == "limits"))["pieces"]
    assert pieces >= 2
    read = from_bytes(
        without(whole, "limits", keep=lambda n, of: n == n // pieces * (pieces + 1))
    )  # first 0, then 1, then 2 ...
    assert read.limits == shipped(12)
    assert read.trace.integrity == ()


def test_all_notes_lost_is_told_and_no_default_takes_their_place() -> None:
    read = from_bytes(joined(f for f in frames_of(recorded("healthy")) if f.kind != wire.NOTE))
    assert read.limits is None
    assert any("notes (limits, answers, calibration, identity) are lost" in line for line in read.trace.integrity)


def test_notes_of_another_recording_are_not_taken() -> None:
    ours, other = recorded("healthy"), recorded("feed_dead_in_start")
    foreign = joined(f for f in frames_of(other) if f.kind == wire.NOTE)
    for data in (ours + foreign, foreign + ours):
        read = from_bytes(data)
        assert any("belong to another recording" in line for line in read.trace.integrity)
    relabelled = joined(
        f._replace(recording_id=frames_of(ours)[0].recording_id) for f in frames_of(other) if note_of(f) == "identity"
    )
    assert any("contradict" in line or "lost" in line for line in from_bytes(ours + relabelled).trace.integrity)


def contradicting(number: bytes, kind: str, table: dict[str, Any]) -> bytes:
    return b"".join(
        wire.encode_frame(wire.NOTE, number, 900 + n, body) for n, body in enumerate(note_bodies(number, kind, table))
    )


def test_copies_that_contradict_each_other_are_told() -> None:
    whole = recorded("healthy")
    number = frames_of(whole)[0].recording_id
    lax = {**shipped(12).to_json(), "values": {**shipped(12).values, "module_minimum_v": 1.0, "supply_dip_lowest_v": 1.0}}
    read = from_bytes(whole + contradicting(number, "limits", {"limits": lax}))
    assert read.trace.integrity == ("copies of the limits in this recording contradict each other",)
    assert read.limits is None
    read = from_bytes(without(whole, "limits") + contradicting(number, "limits", {"limits": lax}))
    assert read.trace.integrity == ("the closing note of this recording names another content of the limits",)


def test_a_lost_closing_note_leaves_the_recording_incomplete_although_the_board_ended_it() -> None:
    whole = recorded("healthy")
    assert from_bytes(without(whole, "end", keep=lambda n, of: n == 1)).trace.complete
    assert not from_bytes(without(whole, "end")).trace.complete


def test_lost_notes_are_counted_by_the_closing_note_even_where_they_are_the_last() -> None:
    frames = frames_of(recorded("healthy"))
    last = max(i for i, f in enumerate(frames) if note_of(f) == "answers")
    read = from_bytes(joined(f for i, f in enumerate(frames) if i != last))
    assert any(line.startswith("1 of ") and "recorder's notes are damaged" in line for line in read.trace.notes)
    assert read.trace.integrity == ()


def test_long_limits_fit(tmp_path: Path) -> None:
    """Sources and a path of any length, in letters of any script."""
    limits = replace(
        shipped(12), name="/" + "längster Ordner/" * 200, sources=dict.fromkeys(shipped(12).values, "Ω" * 700 + '"\\')
    )
    file = RecordingFile(tmp_path / "x.fcr", ID)
    calibration = {"calibration": Calibration("nominal", {}).to_json()}
    file.protect(identity={"kind": "start"}, calibration=calibration, limits={"limits": limits.to_json()}, answers={})
    file.close()
    notes = read_notes(frames_of((tmp_path / "x.fcr").read_bytes()), ID, alone=False)
    assert notes.integrity == ()
    assert notes.content("limits")["limits"] == json.loads(json.dumps(limits.to_json()))


@settings(max_examples=50, deadline=None)
@given(st.dictionaries(st.text(max_size=20), st.text(max_size=3000) | st.integers() | st.none(), max_size=6))
def test_any_table_comes_back_from_its_bodies(table: dict[str, Any]) -> None:
    bodies = note_bodies(ID, "limits", table)
    assert all(len(body) <= wire.MAX_BODY_BYTES for body in bodies)
    frames = [wire.Frame(wire.NOTE, ID, n, body) for n, body in enumerate(bodies)]
    assert read_notes(reversed(frames), ID, alone=False).content("limits") == table


def test_the_kind_of_recording_is_its_identity(tmp_path: Path) -> None:
    for kind, expected, doubt in (("switch test", "switch test", False), ("something new", "start", True)):
        frames = [f for f in frames_of(recorded("healthy")) if note_of(f) not in ("identity", "end")]
        number = frames[0].recording_id
        read = from_bytes(joined(frames) + contradicting(number, "identity", {"kind": kind}))
        assert read.trace.kind == expected
        assert bool(read.trace.integrity) is doubt


# Format 1 ----------------------------------------------------------------------------------------------------------------


def test_format_1_reads_as_before_with_a_remark() -> None:
    read = from_bytes(as_format_1(recorded("healthy")))
    now = from_bytes(recorded("healthy"))
    assert read.trace.integrity == ()
    assert read.trace.complete
    assert any("older format" in line for line in read.trace.notes)
    assert (read.limits, read.context, read.calibration) == (now.limits, now.context, now.calibration)
    assert read.meta["synthetic"] is True
    assert read.meta["recorded_utc"] == now.meta["recorded_utc"]


@pytest.mark.parametrize("kind", ["host", "calibration", "limits", "answers"])
def test_format_1_without_a_kind_of_note_is_told(kind: str) -> None:
    read = from_bytes(without(as_format_1(recorded("healthy")), kind))
    assert any("is lost" in line for line in read.trace.integrity)
    one_left = from_bytes(without(as_format_1(recorded("healthy")), kind, keep=lambda n, of: n == of - 1))
    assert one_left.trace.integrity == ()


def test_format_1_with_foreign_or_contradicting_notes_is_told() -> None:
    old, other = as_format_1(recorded("healthy")), as_format_1(recorded("feed_dead_in_start"))
    foreign = joined(f for f in frames_of(other) if f.kind == wire.NOTE)
    assert any("another recording" in line for line in from_bytes(old + foreign).trace.integrity)
    number = frames_of(old)[0].recording_id
    body = json.dumps({"note": "answers", "cranked_with_key": True, "module_plugged_in": True, "engine_running": True}).encode()
    assert from_bytes(old + wire.encode_frame(wire.NOTE, number, 9, body)).trace.integrity == (
        "copies of the answers in this recording contradict each other",
    )


# Captures that a board made alone ----------------------------------------------------------------------------------------


def _with_its_own_leads(table: dict[str, Any]) -> dict[str, Any]:
    """A board states the calibration of the leads that are on."""
    if "calibration" not in table:
        return table
    roles = [entry["role"] for entry in table["channels"]]
    lines = {role: line for role, line in table["calibration"]["channels"].items() if role in roles}
    return {**table, "calibration": {**table["calibration"], "channels": lines}}


def capture_bytes() -> bytes:
    """The frames of a start as a board that works alone keeps them."""
    made = []
    for f in frames_of(recorded("healthy")):
        if f.kind in (wire.STREAM, wire.BINS, wire.END):
            body = f.body
            if f.kind != wire.BINS:
                given = {"limits": packed_limits(shipped(12)), "feed_kind": "signal"}
                result = {"verdict": "PASS", "why": "held", "number": 1}
                table = _with_its_own_leads(json.loads(body))
                body = json.dumps({**table, "alone": given if f.kind == wire.STREAM else result}).encode()
            made.append(f._replace(body=body))
    return joined(made)


def test_a_capture_with_its_notes_is_protected_as_a_recording_is(tmp_path: Path) -> None:
    path = tmp_path / "capture.fcr"
    kept = from_bytes(capture_bytes())
    assert kept.trace.integrity == ()
    assert kept.calibration is not None
    assert kept.limits is not None
    write_recording(path, capture_bytes(), "port", kept.calibration, kept.limits, replace(kept.context, cranked_with_key=False))
    whole = path.read_bytes()
    read = from_bytes(whole)
    assert read.trace.integrity == ()
    assert read.trace.complete
    assert read.context.cranked_with_key is False
    for kind in PROTECTED:
        assert from_bytes(without(whole, kind)).trace.integrity == (NOTE_LABELS[kind],)
        one = without(whole, kind, keep=lambda n, of: n < of // 3)
        assert from_bytes(one).trace.integrity == ()


def test_a_fetched_capture_without_any_note_has_lost_them(tmp_path: Path) -> None:
    """The person's answers are among them. Only the bytes from the board itself may lack notes."""
    path = tmp_path / "capture.fcr"
    path.write_bytes(capture_bytes())
    assert any("are lost" in line for line in read_native(path).trace.integrity)


def test_a_capture_whose_descriptions_contradict_each_other_is_told() -> None:
    frames = frames_of(capture_bytes())
    stream = next(f for f in frames if f.kind == wire.STREAM)
    other = json.loads(stream.body)
    lax = replace(shipped(12), values={**shipped(12).values, "module_minimum_v": 6.5})
    other["alone"]["limits"] = packed_limits(lax)
    read = from_bytes(joined([*frames, stream._replace(body=json.dumps(other).encode())]))
    assert any("in two ways" in line for line in read.trace.integrity)
