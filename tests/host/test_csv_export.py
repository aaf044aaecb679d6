"""An export judged again: the recording's verdict, or none; what stands before its rows can't be lost in silence."""

from __future__ import annotations

import hashlib
import json
import random
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.errors import UnreadableTraceError
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.recording import Recording
from firstcrank.trace import Hole
from firstcrank.tracefiles.csv import read_csv
from firstcrank.tracefiles.csv_about import lines_of, table_of
from firstcrank.tracefiles.csv_export import write_csv
from firstcrank.tracefiles.export import metadata
from firstcrank.tracefiles.native import from_bytes

from .recording_edits import without
from .sim_recording import recorded


def verdict_of(recording: Recording) -> str:
    if recording.trace.integrity:
        return "NO VERDICT"
    return judge(recording.trace, recording.limits or shipped(12), recording.context).verdict


def exported(recording: Recording, folder: Path) -> Path:
    path = folder / "x.csv"
    path.unlink(missing_ok=True)
    write_csv(path, recording)
    return path


def strict() -> Recording:
    limits = replace(shipped(12), values={**shipped(12).values, "module_minimum_v": 9.9})
    return replace(from_bytes(recorded("healthy")), limits=limits)


CASES: dict[str, Callable[[], Recording]] = {
    "healthy": lambda: from_bytes(recorded("healthy")),
    "dead in start": lambda: from_bytes(recorded("feed_dead_in_start")),
    "strict limits": strict,
    "another key": lambda: replace(from_bytes(recorded("healthy")), context=Context(cranked_with_key=False)),
    "incomplete": lambda: from_bytes(without(recorded("healthy"), "end")),
    "limits lost": lambda: from_bytes(without(recorded("healthy"), "limits")),
    "a test": lambda: replace(
        from_bytes(recorded("healthy")), trace=replace(from_bytes(recorded("healthy")).trace, kind="switch test")
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_verdict_of_an_export_is_the_recordings(case: str, tmp_path: Path) -> None:
    recording = CASES[case]()
    again = read_csv(exported(recording, tmp_path))
    assert verdict_of(again) == verdict_of(recording)
    assert (again.limits, again.context, again.calibration) == (recording.limits, recording.context, recording.calibration)
    one, other = recording.trace, again.trace
    assert (other.kind, other.complete, other.integrity, other.holes) == (one.kind, one.complete, one.integrity, one.holes)
    assert {r: (c.uncertainty, c.full_scale_v) for r, c in other.channels.items()} == {
        r: (c.uncertainty, c.full_scale_v) for r, c in one.channels.items()
    }
    assert again.meta["recording_id"] == recording.meta["recording_id"]
    assert again.meta["recorded_utc"] == recording.meta["recorded_utc"]
    assert one.runs is not None
    assert other.runs is not None
    assert np.array_equal(other.runs.longest, one.runs.longest)
    assert np.allclose(other.start_s, one.start_s, atol=1e-8)


def test_holes_come_along(tmp_path: Path) -> None:
    whole = from_bytes(recorded("healthy"))
    recording = replace(whole, trace=replace(whole.trace, holes=(Hole(-0.2, 0.0, "x"), Hole(3.0, 3.5, 'lost, "all" of it'))))
    assert read_csv(exported(recording, tmp_path)).trace.holes == recording.trace.holes


def damaged(lines: list[str], how: str) -> list[str]:
    about = [n for n, line in enumerate(lines) if line.startswith("#")]
    if how == "no header":
        return lines[len(about) :]
    if how.startswith("without"):
        return [line for line in lines if not line.startswith(f"# firstcrank: {how.split()[1]}")]
    if how == "lax limits":
        return [line.replace('"module_minimum_v": 9.9', '"module_minimum_v": 1.0') for line in lines]
    if how == "a row less":
        return lines[:-1]
    if how == "a row changed":
        return [*lines[:-2], lines[-2].replace("12.", "11.", 1), lines[-1]]
    if how == "rows exchanged":
        return [*lines[:-3], lines[-2], lines[-3], lines[-1]]
    raise AssertionError(how)


@pytest.mark.parametrize(
    "how",
    [
        "no header",
        "without limits",
        "without answers",
        "without channels",
        "without complete",
        "without checksum",
        "lax limits",
        "a row less",
        "a row changed",
    ],
)
def test_damage_is_told_and_nothing_takes_its_place(how: str, tmp_path: Path) -> None:
    path = exported(strict(), tmp_path)
    lines = path.read_text().splitlines()
    path.write_text("\n".join(damaged(lines, how)) + "\n")
    again = read_csv(path)
    assert len(again.trace.integrity) == 1
    assert "export" in again.trace.integrity[0]
    assert again.limits is None


def test_any_letter_changed_in_the_header_is_told(tmp_path: Path) -> None:
    path = exported(strict(), tmp_path)
    text = path.read_bytes()
    end = text.index(b"\nt_s,")
    rng = random.Random(7)
    for _ in range(60):
        at = rng.randrange(len("# firstcrank:"), end)
        changed = bytearray(text)
        changed[at] = rng.choice(b'0123456789abcxyz",:}')
        if changed[at] == text[at]:
            continue
        path.write_bytes(changed)
        try:
            assert read_csv(path).trace.integrity
        except UnreadableTraceError:
            continue  # a line that is no comment any more makes no table of numbers: refused as a whole


def test_other_ends_of_lines_change_nothing(tmp_path: Path) -> None:
    path = exported(strict(), tmp_path)
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_csv(path).trace.integrity == ()


def test_the_lines_come_back_and_are_refused_when_touched() -> None:
    table = {"format": 1, "why": "x = y # firstcrank:", "limits": {"ä": [1.25, None, True]}}
    lines = lines_of(table)
    assert table_of(lines) == table
    assert all(line.isascii() for line in lines)
    assert table_of(lines[:-1]) is None
    assert table_of([]) is None
    assert table_of([lines[1], lines[0], *lines[2:]]) is None


def test_right_checksums_over_absurd_content_never_raise(tmp_path: Path) -> None:
    path = exported(strict(), tmp_path)
    lines = path.read_text().splitlines()
    about = [line for line in lines if line.startswith("#")]
    found = table_of(about)
    assert found is not None
    table: Mapping[str, object] = found
    absurd: list[object] = [None, -1, 1e300, "x", [], {}, [1], True, {"x": []}]
    for key in table:
        for odd in absurd:
            if odd == table[key]:
                continue
            path.write_text("\n".join([*lines_of({**table, key: odd}), *lines[len(about) :]]) + "\n")
            again = read_csv(path)
            assert json.dumps(list(again.trace.integrity))


def test_the_metadata_of_other_formats_carry_the_same_with_a_checksum() -> None:
    recording = CASES["limits lost"]()
    table = json.loads(json.dumps(metadata(recording)))
    checksum = table.pop("checksum")
    text = json.dumps(table, ensure_ascii=True, sort_keys=True)
    assert checksum == hashlib.sha256(text.encode()).hexdigest()
    assert table["integrity"] == ["every copy of the limits is lost"]
    assert table["answers"]["cranked_with_key"] is True
    assert set(table["channels"]) == set(recording.trace.channels)
