"""Filed starts judged again: the same verdict with the same limits, flips told, filed verdicts kept, stopped runs gone on with."""

from __future__ import annotations

import concurrent.futures
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firstcrank import wire
from firstcrank.jobs import records
from firstcrank.jobs.contents import FolderContents
from firstcrank.jobs.filing import attach
from firstcrank.jobs.rejudge import Journal, chosen_starts, rejudge, write_result
from firstcrank.jobs.store import open_store
from firstcrank.limits import shipped
from firstcrank.parallel import AHEAD, each_done, processes
from firstcrank.tracefiles import byte_stuffing

from .sim_recording import recorded
from .test_text_is_text import run

NAMES = ("marigold_trap", "marigold_repaired")


@pytest.fixture
def place(tmp_path: Path) -> str:
    """A store with a job each: start 1 failed, start 2 passed."""
    name = str(tmp_path / "s.sqlite")
    with open_store(name) as store:
        for number, scenario in enumerate(NAMES):
            path = tmp_path / f"{scenario}.fcr"
            path.write_bytes(recorded(scenario))
            records.create_job(store, str(number), vehicle=scenario)
            attach(store, str(number), path)
    return name


def test_with_the_limits_filed_the_verdict_is_the_one_filed(place: str) -> None:
    with open_store(place) as store, concurrent.futures.ThreadPoolExecutor(1) as executor:
        found = {a.start: a for a in rejudge(store, chosen_starts(store, simulated=True), executor, 1)}
        filed = {s["id"]: s for n in ("0", "1") for s in records.job_detail(store, n).starts}
    assert set(found) == {1, 2}
    for start, again in found.items():
        assert (again.verdict, again.feed_verdict) == (filed[start]["verdict"], filed[start]["feed_verdict"])
        assert json.loads(again.judgement_json)["findings"] == json.loads(filed[start]["judgement_json"])["findings"]
        assert not again.flips
        assert not again.trouble


def test_other_limits_flip_a_verdict_and_the_filed_one_stays(place: str) -> None:
    limits = shipped(12)
    tight = replace(limits, values={**limits.values, "module_minimum_v": 11.9})
    with open_store(place) as store, processes(2) as executor:
        found = {a.start: a for a in rejudge(store, [1, 2], executor, 2, tight)}
        assert [s["verdict"] for s in records.job_detail(store, "1").starts] == ["PASS"]
    assert (found[2].filed_verdict, found[2].verdict, found[2].flips) == ("PASS", "FAIL", True)
    assert "below the module's minimum of 11.90 V" in found[2].reason
    assert (found[1].filed_verdict, found[1].flips) == ("FAIL", False)


def test_trouble_with_one_start_stops_no_other(place: str) -> None:
    with open_store(place) as store, concurrent.futures.ThreadPoolExecutor(1) as executor:
        start = records.job_detail(store, "0").starts[0]
        assert isinstance(store.contents, FolderContents)
        store.contents.path(start["content_hash"]).unlink()
        found = {a.start: a for a in rejudge(store, [1, 2], executor, 1)}
        wrong = {a.start: a for a in rejudge(store, [2], executor, 1, shipped(24))}
    assert "missing" in found[1].trouble
    assert (found[1].verdict, found[2].verdict) == ("", "PASS")
    assert wrong[2].trouble == "the limits are for 24 V, this start is of 12 V"


def test_a_stopped_run_goes_on_where_it_was(place: str, tmp_path: Path) -> None:
    out = tmp_path / "r.parquet"
    with open_store(place) as store, concurrent.futures.ThreadPoolExecutor(1) as executor:
        first = Journal(out, None)
        first.add(next(iter(rejudge(store, [1], executor, 1))))
        with first.path.open("a", encoding="utf-8") as file:
            file.write('{"start": 2, "job": "1", "fil')  # killed while it wrote
        again = Journal(out, None)
        assert again.left([1, 2]) == [2]
        for found in rejudge(store, again.left([1, 2]), executor, 1):
            again.add(found)
        write_result(out, again, [1, 2])
    rows = pq.read_table(out).to_pylist()
    assert {row["start"]: (row["filed_verdict"], row["verdict"]) for row in rows} == {1: ("FAIL", "FAIL"), 2: ("PASS", "PASS")}
    out.unlink()
    assert Journal(out, shipped(12)).left([1, 2]) == [1, 2], "of other limits it begins anew"


def test_the_command_says_what_changes(place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "r.parquet"
    command = ("jobs", "rejudge", "--simulated", "--processes", "1", "--out", str(out), "--store", place)
    assert run(*command) == 0
    assert "2 starts judged again, 0 verdicts change, 0 could not be judged" in capsys.readouterr().out
    assert pq.read_table(out).num_rows == 2
    assert not out.with_name("r.parquet.part").exists()
    assert run(*command) == 2
    assert "already there" in capsys.readouterr().err
    out.unlink()
    assert run(*command, "repaired") == 0
    assert "1 starts judged again" in capsys.readouterr().out


def test_judge_takes_a_filed_start_by_its_number(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("judge", "1", "--store", place) == 1
    assert "Filed as FAIL" in capsys.readouterr().out
    assert run("judge", "2", "--store", place) == 0
    assert run("judge", "99", "--store", place) == 2
    assert "there is no start 99" in capsys.readouterr().err


def test_no_more_work_is_handed_out_than_is_waited_for() -> None:
    begun: list[int] = []

    def work() -> Iterator[int]:
        for n in range(100):
            begun.append(n)
            yield n

    with concurrent.futures.ThreadPoolExecutor(2) as executor:
        answers = each_done(executor, abs, work(), 2)
        next(answers)
        assert len(begun) <= 2 * AHEAD + 2
        assert sorted([*answers]) != []
    assert len(begun) == 100


@given(st.binary(max_size=700))
def test_the_fast_codec_undoes_what_the_boards_own_makes(data: bytes) -> None:
    stuffed = wire.cobs_encode(data)
    assert cobs.decode(stuffed) == data == wire.cobs_decode(stuffed)


@given(st.binary(min_size=1, max_size=300).map(lambda b: b.replace(b"\0", b"\1")))
def test_both_codecs_refuse_the_same_bytes(piece: bytes) -> None:
    outcomes: list[wire.Frame | None] = []
    for decode in (wire.decode_frame, byte_stuffing.decode_frame):
        try:
            outcomes.append(decode(piece))
        except wire.FrameError:
            outcomes.append(None)
    assert outcomes[0] == outcomes[1]
    try:
        plain = wire.cobs_decode(piece)
    except wire.FrameError:
        with pytest.raises(cobs.DecodeError):
            cobs.decode(piece)
    else:
        assert cobs.decode(piece) == plain
