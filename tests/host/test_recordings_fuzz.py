"""Recordings mutated, cut, spliced and filled with absurd values: reading never raises, and nothing lost is made up for.

Seeded and bounded, about ten seconds; FIRSTCRANK_FUZZ=N runs N mutations. Bytes are stuffed by the C codec of the `cobs`
package, which tests/published holds against ours.
"""

from __future__ import annotations

import functools
import json
import os
import random
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from cobs import cobs

from firstcrank import wire
from firstcrank.analysis.verdict import judge
from firstcrank.errors import UnreadableTraceError
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.recording import Recording
from firstcrank.tracefiles.native import END_MISSING, as_recording, context_to_json, from_bytes
from firstcrank.tracefiles.notes import PROTECTED

from .recording_edits import as_format_1, frames_of, joined, note_of
from .sim_recording import recorded

COUNT = int(os.environ.get("FIRSTCRANK_FUZZ", "160"))
ODD: list[object] = [None, -1, 0, 1e300, "x", [], {}, [1], True, 10**30, "\x1b[2J", [{}], {"note": "limits"}]


def decoded(stuffed: bytes) -> bytes:
    try:
        return bytes(cobs.decode(stuffed))
    except cobs.DecodeError as error:
        raise wire.FrameError(str(error)) from error


@pytest.fixture(autouse=True)
def fast(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wire, "cobs_encode", cobs.encode)
    monkeypatch.setattr(wire, "cobs_decode", decoded)


@functools.cache
def base(name: str) -> bytes:
    """A short recording: a part of the simulator's start, with limits or answers under which it is no PASS."""
    frames = frames_of(recorded("healthy" if name != "dead" else "feed_dead_in_start"))
    whole = from_bytes(recorded("healthy"))
    assert whole.calibration is not None
    number = f"{name:_<8.8}".encode()  # each its own: notes made for the same id cannot be told from the recording's
    limits = shipped(12)
    if name == "strict":
        limits = replace(limits, values={**limits.values, "module_minimum_v": 9.9})
    context = Context(cranked_with_key=name != "another key", module_plugged_in=True)
    return as_recording(
        joined(f._replace(recording_id=number) for f in frames if f.kind != wire.NOTE),
        number,
        "x",
        identity={"kind": "start"},
        calibration={"calibration": whole.calibration.to_json()},
        limits={"limits": limits.to_json()},
        answers=context_to_json(context),
    )


def flips(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.randint(1, 40)):
        out[rng.randrange(len(out))] ^= rng.randint(1, 255)
    return bytes(out)


def cut(data: bytes, rng: random.Random) -> bytes:
    first, past = sorted((rng.randrange(len(data)), rng.randrange(len(data))))
    return rng.choice([data[:past], data[first:], data[:first] + data[past:]])


def notes_lost(data: bytes, rng: random.Random) -> bytes:
    share = rng.choice([0.2, 0.5, 0.9, 1.0])
    kinds = set(rng.sample([*PROTECTED, "end"], rng.randint(1, 5)))
    return joined(f for f in frames_of(data) if note_of(f) not in kinds or rng.random() > share)


def frames_lost(data: bytes, rng: random.Random) -> bytes:
    share = rng.choice([0.01, 0.2, 0.9])
    return joined(f for f in frames_of(data) if rng.random() > share)


def foreign_notes(data: bytes, rng: random.Random) -> bytes:
    other = frames_of(base(rng.choice(["healthy", "strict", "another key"])))
    number = rng.choice([rng.randbytes(8), frames_of(data)[0].recording_id, wire.NO_RECORDING])
    notes = [f._replace(recording_id=number) for f in other if f.kind == wire.NOTE]
    frames = frames_of(data)
    if rng.random() < 0.5:
        frames = [f for f in frames if f.kind != wire.NOTE]
    at = rng.randrange(len(frames))
    return joined([*frames[:at], *rng.sample(notes, rng.randint(1, len(notes))), *frames[at:]])


def spliced(data: bytes, rng: random.Random) -> bytes:
    other = base(rng.choice(["healthy", "dead", "strict"]))
    return data[: rng.randrange(len(data))] + other[rng.randrange(len(other)) :]


def shuffled(data: bytes, rng: random.Random) -> bytes:
    frames = frames_of(data)
    for _ in range(rng.randint(1, 5)):
        a, b = rng.randrange(len(frames)), rng.randrange(len(frames))
        frames[a], frames[b] = frames[b], frames[a]
    return joined(frames)


def absurd(data: bytes, rng: random.Random) -> bytes:
    """Wrong values behind right checksums: in notes of either format, descriptions, the end, heads of bins."""
    frames = frames_of(rng.choice([data, as_format_1(data)]))
    for _ in range(rng.randint(1, 4)):
        i = rng.randrange(len(frames))
        if frames[i].kind in (wire.BINS, wire.CLOSE_UP):
            body = bytearray(frames[i].body)
            for _ in range(rng.randint(1, 8)):
                body[rng.randrange(min(len(body), wire.BINS_BYTES))] = rng.randrange(256)
            frames[i] = frames[i]._replace(body=bytes(body))
            continue
        i = rng.choice([n for n, f in enumerate(frames) if f.kind in (wire.NOTE, wire.STREAM, wire.END)])
        table = json.loads(frames[i].body)
        target = table
        while rng.random() < 0.6:
            inner = [value for value in target.values() if isinstance(value, dict) and value]
            if not inner:
                break
            target = rng.choice(inner)
        target[rng.choice(sorted(target) or ["x"])] = rng.choice(ODD)
        frames[i] = frames[i]._replace(body=json.dumps(table).encode())
    return joined(frames)


def deep(data: bytes, rng: random.Random) -> bytes:
    """Nesting that exhausts a parser."""
    frames = frames_of(data)
    i = rng.choice([n for n, f in enumerate(frames) if f.kind in (wire.NOTE, wire.STREAM, wire.END)])
    frames[i] = frames[i]._replace(body=b'{"note":' + b"[" * 4000)
    return joined(frames)


MUTATIONS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    flips,
    cut,
    notes_lost,
    frames_lost,
    foreign_notes,
    spliced,
    shuffled,
    absurd,
    deep,
)


def mutated() -> Iterator[tuple[str, str, bytes]]:
    """(base, mutation, bytes)."""
    rng = random.Random(20260711)
    for number in range(COUNT):
        mutation = MUTATIONS[number % len(MUTATIONS)]
        name = rng.choice(["healthy", "strict", "another key", "dead"])
        yield name, mutation.__name__, mutation(base(name), rng)


def read(data: bytes) -> Recording | None:
    try:
        return from_bytes(data)
    except UnreadableTraceError:
        return None


def test_reading_never_raises_and_what_is_lost_is_told_or_unchanged() -> None:
    """Limits and answers are those of the recording or none, and then integrity says so. Splices may be the other recording."""
    for name, mutation, data in mutated():
        recording = read(data)
        if recording is None or recording.trace.integrity or mutation in ("spliced", "absurd"):
            continue
        whole = from_bytes(base(name))
        assert (recording.limits, recording.context, recording.trace.kind) == (whole.limits, whole.context, "start"), mutation
        if (
            not recording.trace.complete or END_MISSING in recording.trace.notes
        ):  # nobody knows what came last, and that is said
            continue
        covered_s = float((recording.trace.end_s - recording.trace.start_s).sum())
        lost_s = sum(hole.end_s - hole.start_s for hole in recording.trace.holes)
        assert covered_s + lost_s >= float(whole.trace.end_s[-1]) * 0.999, mutation


def judge_heeds_integrity() -> bool:
    recording = from_bytes(recorded("healthy"))
    doubted = replace(recording.trace, integrity=("the limits are lost",))
    return judge(doubted, shipped(12), recording.context).verdict == "NO VERDICT"


def test_the_judge_never_raises_and_no_damage_makes_a_pass() -> None:
    if not judge_heeds_integrity():
        pytest.skip("the judge does not look at Trace.integrity yet")
    verdicts = {}
    for name in ("healthy", "strict", "another key", "dead"):
        whole = from_bytes(base(name))
        verdicts[name] = judge(whole.trace, whole.limits or shipped(12), whole.context).verdict
    assert verdicts["healthy"] == "PASS"
    assert "PASS" not in [verdicts[name] for name in ("strict", "another key", "dead")]
    for name, mutation, data in mutated():
        recording = read(data)
        if recording is None:
            continue
        judged = judge(recording.trace, recording.limits or shipped(12), recording.context)
        if mutation not in ("spliced", "absurd"):
            assert judged.verdict != "PASS" or verdicts[name] == "PASS", (name, mutation)
