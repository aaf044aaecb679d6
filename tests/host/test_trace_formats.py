"""The table of trace formats: found by suffix and by content, and what a package installed beside may and may not do."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.limits import shipped
from firstcrank.tracefiles.csv_cells import is_csv
from firstcrank.tracefiles.format import HEAD_BYTES
from firstcrank.tracefiles.table import FORMATS, load, writable_suffixes, write

from .sim_recording import recorded

PACKAGE = """
import json
from dataclasses import replace

from firstcrank.tracefiles.format import TraceFormat
from firstcrank.tracefiles.native import from_bytes


def read(path, options):
    return from_bytes(bytes.fromhex(path.read_text()[4:]))


def write(path, recording):
    path.write_text("HEX " + json.dumps(len(recording.trace)))


def anything(head):
    return True


HEX = TraceFormat("hexadecimal", (".hex",), lambda head: head.startswith(b"HEX "), read, write)
GREEDY = TraceFormat("greedy", (".csv", ".fcr"), anything, read, write)
"""


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A distribution with two formats, as pip leaves it on disk."""
    folder = tmp_path / "installed"
    info = folder / "hex_package-1.0.dist-info"
    info.mkdir(parents=True)
    (folder / "hex_package.py").write_text(PACKAGE)
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: hex-package\nVersion: 1.0\n")
    points = "[firstcrank.trace_formats]\nhex = hex_package:HEX\ngreedy = hex_package:GREEDY\n"
    (info / "entry_points.txt").write_text(points)
    monkeypatch.syspath_prepend(folder)
    return tmp_path


def test_a_format_of_another_package_is_read_written_and_named_in_the_notes(package: Path) -> None:
    path = package / "start.hex"
    path.write_text("HEX " + recorded("marigold_trap").hex())
    recording = load(path)
    assert recording.trace.notes[-1] == "read by the format hexadecimal of another package"
    assert ".hex" in writable_suffixes()
    write(package / "again.hex", recording)
    assert (package / "again.hex").read_text() == f"HEX {len(recording.trace)}"


def test_it_is_recognised_by_content_too(package: Path) -> None:
    path = package / "start.unknown"
    path.write_text("HEX " + recorded("marigold_trap").hex())
    assert "hexadecimal" in load(path).trace.notes[-1]


def test_what_is_installed_beside_takes_no_file_of_ours_and_changes_no_verdict(package: Path) -> None:
    """The greedy one claims our suffixes and every content."""
    for name in ("start.fcr", "start.unknown"):
        path = package / name
        path.write_bytes(recorded("marigold_trap"))
        recording = load(path)
        assert not any("another package" in note for note in recording.trace.notes)
        assert judge(recording.trace, recording.limits or shipped(12), recording.context).verdict == "FAIL"


@pytest.mark.parametrize(
    ("head", "name"),
    [
        (recorded("marigold_trap")[:HEAD_BYTES], "firstcrank recording"),
        (b"time,battery\n0.0,12.6\n", "CSV"),
        (b"\xef\xbb\xbfs;V\n0,0;12,6\n", "CSV"),
        (b"PAR1\x00\x00", "Parquet"),
        (b"MDF     4.10", "ASAM MDF 4"),
    ],
)
def test_content_is_recognised_by_one_format_alone(head: bytes, name: str) -> None:
    assert [form.name for form in FORMATS if form.sniff(head)] == [name]


@pytest.mark.parametrize(
    "head", [b"", b"\x00", b"a,b\n", b"a letter to somebody, with a comma\nand no number, here\n", b"\xff\xfe\x00"]
)
def test_what_is_no_table_of_numbers_is_no_csv(head: bytes) -> None:
    assert not is_csv(head)


def test_a_head_that_ends_inside_a_letter_is_still_text() -> None:
    assert is_csv("t,µ\n0,1\n2,µ".encode()[:-1])


def test_a_csv_with_another_suffix_is_read(tmp_path: Path) -> None:
    path = tmp_path / "logger.dat"
    path.write_text("t_s,battery_v,key_switch_v\n" + "".join(f"{n / 1000},12.6,12.5\n" for n in range(50)))
    assert load(path).trace.channels["battery"].mean_v[0] == pytest.approx(12.6)


def test_a_format_that_is_written_alone_says_what_is_read(tmp_path: Path) -> None:
    with pytest.raises(UnreadableTraceError, match=r"Parquet files are written, not read; these are read: \.fcr, \.csv"):
        load(tmp_path / "start.parquet")


def test_an_unknown_suffix_cannot_be_written(tmp_path: Path) -> None:
    from firstcrank.tracefiles.native import from_bytes

    with pytest.raises(UsageError, match=r"must be one of \.csv, \.parquet, \.mf4"):
        write(tmp_path / "start.xyz", from_bytes(recorded("marigold_trap")))
