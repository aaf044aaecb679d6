"""What a command writes is there whole or not at all: a full disk, a kill, an error leave no half file that blocks the next try."""

from __future__ import annotations

import os
import signal
import stat
import time
from pathlib import Path

import pytest

from firstcrank.cli.main import main
from firstcrank.errors import UnwritableFileError, UsageError, cannot_write
from firstcrank.recording import Recording
from firstcrank.tracefiles import table
from firstcrank.tracefiles.format import TraceFormat
from firstcrank.whole_file import PRIVATE, whole_file, whole_path

from .sim_recording import recorded


def test_it_is_there_when_the_block_ends_well_and_not_before(tmp_path: Path) -> None:
    target = tmp_path / "x.html"
    with whole_file(target) as file:
        file.write(b"whole")
        assert not target.exists()
    assert target.read_bytes() == b"whole"
    assert [p.name for p in tmp_path.iterdir()] == ["x.html"]
    with pytest.raises(UsageError, match="already there"), whole_file(target):
        pass
    with whole_file(target, replace=True) as file:
        file.write(b"new")
    assert target.read_bytes() == b"new"


def test_an_error_leaves_what_was_there(tmp_path: Path) -> None:
    target = tmp_path / "x.html"
    target.write_bytes(b"before")

    def half() -> None:
        with whole_file(target, replace=True) as file:
            file.write(b"half")
            raise OSError(28, "No space left on device")

    with pytest.raises(UnwritableFileError, match=r"x\.html cannot be written: No space left on device; make room on the disk"):
        half()
    assert target.read_bytes() == b"before"
    assert [p.name for p in tmp_path.iterdir()] == ["x.html"]


@pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX")
def test_who_may_read_it(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        for mode, wanted in ((None, 0o644), (PRIVATE, 0o600), (0o660, 0o660)):
            path = tmp_path / f"{wanted:o}"
            with whole_file(path, mode=mode):
                pass
            assert stat.S_IMODE(path.stat().st_mode) == wanted
    finally:
        os.umask(before)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a program is made to be killed by fork")
def test_a_kill_leaves_no_half_file(tmp_path: Path) -> None:
    target = tmp_path / "x.csv"
    child = os.fork()
    if child == 0:
        try:
            with whole_path(target) as fresh:
                fresh.write_bytes(b"half")
                time.sleep(60)
        finally:
            os._exit(0)
    deadline = time.monotonic() + 20
    while not any(p.stat().st_size for p in tmp_path.iterdir()) and time.monotonic() < deadline:
        time.sleep(0.01)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    assert not target.exists()
    with whole_file(target) as file:
        file.write(b"whole")
    assert target.read_bytes() == b"whole"


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".mf4"])
def test_an_export_that_fails_can_be_tried_again(suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    start = tmp_path / "start.fcr"
    start.write_bytes(recorded("healthy"))
    target = tmp_path / f"out{suffix}"

    def half(path: Path, recording: Recording) -> None:
        path.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    forms = tuple(TraceFormat(f.name, f.suffixes, f.sniff, f.read, half) if f.write else f for f in table.FORMATS)
    monkeypatch.setattr(table, "FORMATS", forms)
    assert run("export", str(start), str(target)) == 4
    assert [p.name for p in tmp_path.iterdir()] == ["start.fcr"]
    monkeypatch.undo()
    assert run("export", str(start), str(target)) == 0
    assert target.stat().st_size > 1000


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


def test_what_cannot_be_written_says_what_to_do(tmp_path: Path) -> None:
    with (
        pytest.raises(UnwritableFileError, match="no such folder: make it, or choose another"),
        whole_file(tmp_path / "no" / "x.html"),
    ):
        pass
    (tmp_path / "file").touch()
    with pytest.raises(UnwritableFileError, match="no such folder: choose another"), whole_file(tmp_path / "file" / "x.html"):
        pass
    assert cannot_write("x", PermissionError(13, "Permission denied")).endswith(
        "Permission denied; choose another folder or name"
    )
    assert cannot_write("x", ValueError("embedded null byte")).endswith("embedded null byte; choose another folder or name")
