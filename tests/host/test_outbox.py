"""A start is never lost and never filed twice, whatever is away or killed; the exit code stays the verdict's."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.cli.main import main
from firstcrank.errors import StoreAwayError
from firstcrank.jobs import keeping, outbox, patience, records
from firstcrank.jobs.audit import audit_lines
from firstcrank.jobs.keeping import file_or_keep
from firstcrank.jobs.outbox import waiting
from firstcrank.jobs.schema import FORGOTTEN
from firstcrank.jobs.sending import send
from firstcrank.jobs.store import open_store
from firstcrank.limits import shipped
from firstcrank.model.judgement import Judgement
from firstcrank.tracefiles.native import read_native

from .postgres import shared_store
from .record_kills import JOB, kill_backups, kill_filing
from .sim_recording import recorded
from .test_store_opening import processes


@pytest.fixture(autouse=True)
def own_outbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / "outbox"))
    return tmp_path / "outbox"


@pytest.fixture
def start(tmp_path: Path) -> Path:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("marigold_trap"))
    return path


def judged(path: Path) -> Judgement:
    recording = read_native(path)
    return judge(recording.trace, shipped(12), recording.context)


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setattr(patience, "SILENCE_S", 1.0)
    monkeypatch.setattr(patience, "CONNECT_S", 2)
    with shared_store() as url:
        with open_store(url) as store:
            records.create_job(store, "1207")
        yield url


def test_a_start_waits_for_a_hung_server_and_goes_up_by_itself(
    server: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stopped = processes(server)
    for process in stopped:
        with contextlib.suppress(ProcessLookupError):  # a server's own short-lived process may be gone by now
            os.kill(process, signal.SIGSTOP)
    try:
        began = time.monotonic()
        code = run(
            "record",
            "--port",
            "sim:marigold_trap",
            "--out",
            str(tmp_path / "x.fcr"),
            "--yes",
            "--job",
            "1207",
            "--store",
            server,
        )
        assert code in (1, 3), "the verdict's exit code"
        assert time.monotonic() - began < 40
    finally:
        for process in stopped:
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGCONT)
    output = capsys.readouterr()
    assert output.err.index("does not answer") < len(output.err)
    assert "goes to job 1207 by itself later" in output.err
    assert "Kept on this computer" in output.out
    assert run("jobs", "outbox") == 1
    assert "for postgresql://...@" in capsys.readouterr().out
    time.sleep(0.3)
    assert run("jobs", "show", "1207", "--store", server) == 0
    output = capsys.readouterr()
    assert "Filed from this computer's outbox: start 1 of job 1207" in output.err
    assert "start 1 " in output.out
    assert run("jobs", "outbox") == 0
    with open_store(server) as store:
        (row,) = records.job_detail(store, "1207").starts
        assert store.contents.get(row["content_hash"]) == (tmp_path / "x.fcr").read_bytes()


def test_what_is_away_is_told_before_the_key_is_touched_and_what_is_wrong_stops(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = ("--out", str(tmp_path / "x.fcr"), "--yes", "--port", "sim:healthy")
    place = str(tmp_path / "s.sqlite")
    assert run("record", *out, "--job", "1", "--store", "postgresql://127.0.0.1:1/shop") == 0
    output = capsys.readouterr()
    assert "Key feed" in output.out
    assert run("jobs", "new", "1", "--store", place) == 0
    assert run("record", "--out", str(tmp_path / "y.fcr"), *out[2:], "--job", "2", "--store", place) == 2
    output = capsys.readouterr()
    assert "there is no job 2" in output.err
    assert "Before you touch the key" not in output.out


def test_a_start_is_sent_once_however_often_it_is_tried(start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = str(tmp_path / "s.sqlite")
    with open_store(place) as store:
        records.create_job(store, "1207")
    monkeypatch.setattr("firstcrank.jobs.sending.remove", lambda entry: None)  # the power fails before the file is gone
    first = file_or_keep(start, judged(start), "1207", place)
    assert first.start == 1
    assert len(waiting()[0]) == 1
    monkeypatch.undo()
    with open_store(place) as store:
        monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / "outbox"))
        assert [filed.start for filed in send(store).filed] == [1]
        assert len(records.job_detail(store, "1207").starts) == 1
        assert send(store).filed == ()


def test_two_laptops_file_the_same_new_job(start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both were away; job and start numbers are given on arrival, and nothing clashes."""
    place = str(tmp_path / "s.sqlite")
    for laptop in ("a", "b"):
        monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / laptop))
        kept = file_or_keep(start, judged(start), "77", place)
        assert (kept.start, "no record store" in kept.why) == (None, True)
    with open_store(place) as store:
        for laptop, made in (("a", True), ("b", False)):
            monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / laptop))
            (filed,) = send(store).filed
            assert filed.made is made
        whole = records.job_detail(store, "77")
        assert len(whole.starts) == 2
        assert "is its number right?" in audit_lines(store, whole.job["id"])[0]["text"]


def test_doctor_names_what_waits(start: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "s.sqlite")
    file_or_keep(start, judged(start), "77", place)
    open_store(place).close()
    run("doctor", "--store", place)
    assert "1 starts wait on this computer for it" in capsys.readouterr().out
    assert run("jobs", "send", "--store", place) == 0
    run("doctor", "--store", place)
    assert "wait on this computer" not in capsys.readouterr().out


def test_a_forgotten_start_does_not_come_back(start: Path, tmp_path: Path) -> None:
    place = str(tmp_path / "s.sqlite")
    file_or_keep(start, judged(start), "77", place)
    ((entry,), _) = waiting()
    with open_store(place) as store:
        with store.engine.begin() as connection:
            values = {"kind": "start", "name": str(entry.row["uuid"]), "at_utc": "2026-01-02", "who": ""}
            connection.execute(FORGOTTEN.insert().values(**values))
        sent = send(store)
        assert sent.filed == ()
        assert "privacy" in sent.trouble[0]
    assert waiting() == ((), ())


def test_a_damaged_file_in_the_outbox_is_told_and_stays(
    start: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "s.sqlite")
    file_or_keep(start, judged(start), "77", place)
    file_or_keep(start, judged(start), "77", place)
    first, second = sorted((tmp_path / "outbox").iterdir())
    first.write_bytes(first.read_bytes()[:-100])
    second.write_bytes(b"{}")
    with open_store(place) as store:
        sent = send(store)
    assert sent.filed == ()
    assert len(sent.trouble) == 2
    assert first.exists()
    assert second.exists()
    assert run("jobs", "outbox") == 1
    assert "can't be read" in capsys.readouterr().err


def test_no_room_here_and_no_store_there_names_the_recording(
    start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreAwayError("No space left on device")

    monkeypatch.setattr(keeping, "keep", full)
    with pytest.raises(StoreAwayError.__mro__[1], match=r"jobs attach 1207 .*start\.fcr"):
        file_or_keep(start, judged(start), "1207", "postgresql://127.0.0.1:1/shop")
    place = str(tmp_path / "s.sqlite")
    with open_store(place) as store:
        records.create_job(store, "1207")
    assert file_or_keep(start, judged(start), "1207", place).start == 1


def test_what_was_cut_off_while_it_was_written_is_no_start(start: Path, tmp_path: Path) -> None:
    place = str(tmp_path / "s.sqlite")
    file_or_keep(start, judged(start), "77", place)
    (whole,) = (tmp_path / "outbox").iterdir()
    cut = whole.with_name(".new-0123456789ab.start")
    cut.write_bytes(whole.read_bytes()[:20])
    kept, trouble = waiting()
    assert [entry.path for entry in kept] == [whole]
    assert trouble == ()
    whole.unlink()
    assert not outbox.anything_waits()


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="programs are made to be killed by fork")
@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_killed_while_filing_syncing_and_backing_up(
    database: str, start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Longer: python -m tests.host.record_numbers --jobs 0 --kills 200."""
    monkeypatch.setenv("FIRSTCRANK_OUTBOX", str(tmp_path / "outbox"))  # what other tests left waiting is none of ours
    with shared_store() if database == "postgresql" else contextlib.nullcontext(str(tmp_path / "s.sqlite")) as place:
        with open_store(place) as store:
            records.create_job(store, JOB)
        kill_filing(place, start, 6)
        kill_backups(place, tmp_path, 4)
