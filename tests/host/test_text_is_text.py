"""What a board, a file, a job or a name says is shown as text, wherever it is shown; and odd input ends in one line."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.table import Table
from rich.text import Text

from firstcrank.analysis.verdict import judge
from firstcrank.cli.main import main
from firstcrank.cli.say import say, say_json
from firstcrank.cli.screen import Screen
from firstcrank.cli.show import show
from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs.backup import back_up
from firstcrank.jobs.backup_file import check_backup
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.records import add_measurement, create_job, find_start
from firstcrank.jobs.store import open_store
from firstcrank.limits import shipped
from firstcrank.printable import printable, storable
from firstcrank.tracefiles.native import from_bytes

from .sim_recording import recorded

ATTACK = "\x1b[2J\x1b[1;1H\x9b2J Key feed: PASS\r\n\x07\u202e[bold]x[/] :skull: [/x]"


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


@given(st.text())
def test_printable_text_has_no_control_character_and_keeps_all_others(text: str) -> None:
    shown = printable(text)
    assert len(shown) == len(text)
    assert not any(
        ord(c) < 0x20 or 0x7F <= ord(c) < 0xA0 or 0x202A <= ord(c) <= 0x202E or 0xD800 <= ord(c) < 0xE000 for c in shown
    )
    assert all(a == b for a, b in zip(text, shown, strict=True) if a.isprintable())
    shown.encode("utf-8")


@pytest.mark.parametrize("text", ["12,6 V ± 0,1 Ω", "Häcksler 24\u00a0V", "ディーゼル", "محرك"])
def test_letters_of_any_script_stay(text: str) -> None:
    assert printable(text) == text
    assert storable(text) == text


def test_a_screen_shows_markup_and_escapes_as_text_and_keeps_its_own_styles() -> None:
    target = io.StringIO()
    screen = Screen(file=target, width=200, force_terminal=True, color_system="truecolor")
    screen.print(ATTACK)
    screen.print(Text(ATTACK))
    table = Table(ATTACK, title=ATTACK)
    table.add_row(ATTACK)
    screen.print(table)
    screen.print(Text("own", style="bold red"))
    output = target.getvalue()
    assert "[bold]x[/] :skull: [/x]" in output
    assert "\x1b[2J" not in output
    assert not set("\x9b\x07\r\u202e") & set(output)
    assert "\x1b[1;31mown" in output


def test_lines_and_json_on_plain_output(capsys: pytest.CaptureFixture[str]) -> None:
    say(ATTACK)
    say_json(json.dumps({"x": ATTACK}, ensure_ascii=False))
    first, second = capsys.readouterr().out.rstrip("\n").split("\n")
    assert "\x1b" not in first + second
    assert json.loads(second) == {"x": ATTACK}


def test_a_judgement_full_of_escapes_is_shown_as_text() -> None:
    recording = from_bytes(recorded("healthy"))
    trace = replace(recording.trace, notes=(ATTACK,))
    judged = judge(trace, shipped(12), recording.context)
    judged = replace(judged, reasons=(ATTACK,), assumptions=(ATTACK,), next_check=ATTACK)
    target = io.StringIO()
    show(Screen(file=target, width=120, color_system=None), judged, trace, title=ATTACK)
    assert not any((ord(c) < 0x20 and c != "\n") or 0x7F <= ord(c) < 0xA0 for c in target.getvalue())
    assert not any(line.strip().startswith("Key feed: PASS") for line in target.getvalue().split("\n")[3:])


@pytest.mark.parametrize(
    "number",
    ["[/x] 12", pytest.param("[vw] 7", marks=pytest.mark.slow), "12\x1b[2J", pytest.param(":skull:", marks=pytest.mark.slow)],
)
def test_a_job_number_is_text(number: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = str(tmp_path / "s.sqlite")
    assert run("jobs", "new", number, "--store", store, "--vehicle", "[red]" + ATTACK) == 0
    path = tmp_path / "start.fcr"
    assert run("record", "--port", "sim:healthy", "--out", str(path), "--yes", "--job", number, "--store", store) in (0, 3)
    assert run("jobs", "list", "--store", store) == 0
    assert run("jobs", "show", number, "--store", store) == 0
    output = capsys.readouterr().out
    assert f"Filed with job {printable(number)} as start 1" in output
    assert output.count(printable(number)) >= 4
    assert "\x1b" not in output


def test_ctrl_c_while_judging_names_the_kept_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("firstcrank.cli.result.show", interrupted)
    path = tmp_path / "kept.fcr"
    assert run("record", "--port", "sim:healthy", "--out", str(path), "--yes") == 130
    output = capsys.readouterr().out.replace("\n", "")
    assert f"kept as {path}" in output
    assert from_bytes(path.read_bytes()).trace.complete


def test_a_report_of_a_file_outside_the_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("healthy"))
    page = tmp_path / "x.html"
    assert run("report", str(path), "--html", str(page)) == 0
    assert "<title>First-start record</title>" in page.read_text("utf-8")
    assert capsys.readouterr().err == ""


def test_very_long_and_very_odd_fields_fit_on_paper(tmp_path: Path) -> None:
    store = str(tmp_path / "s.sqlite")
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("healthy"))
    assert run("jobs", "new", "1", "--store", store, "--vehicle", "W" * 30_000, "--technician", ATTACK + "\x00\x0b") == 0
    assert run("jobs", "attach", "1", str(path), "--store", store) == 0
    html, pdf = tmp_path / "x.html", tmp_path / "x.pdf"
    assert run("report", "1", "--store", store, "--html", str(html), "--pdf", str(pdf)) == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    assert "\x1b" not in html.read_text("utf-8")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_measured_value_is_a_number(value: float, tmp_path: Path) -> None:
    with open_store(str(tmp_path / "s.sqlite")) as store:
        create_job(store, "1")
        with pytest.raises(UsageError, match="write a number"):
            add_measurement(store, "1", "drop", value, "V")


@pytest.mark.parametrize("name", ["9" * 40, "²", "٣", "1#" + "9" * 40])
def test_odd_start_numbers(name: str, tmp_path: Path) -> None:
    with open_store(str(tmp_path / "s.sqlite")) as store, pytest.raises(UsageError, match="start"):
        find_start(store, name)


@pytest.mark.parametrize(
    "command", [("report", "9" * 30), ("compare", "9" * 30, "1"), ("report", "²"), ("compare", "a#b.fcr", "x.fcr")]
)
def test_odd_start_numbers_end_in_one_line(
    command: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(*command, "--store", str(tmp_path / "s.sqlite")) in (2, 4)
    output = capsys.readouterr().err
    assert output.count("\n") == 1
    assert "unexpected" not in output


@pytest.mark.parametrize("name", ["a?b/s.sqlite", "a#b.sqlite", "a%41.sqlite", "a b&c=d.sqlite", "ä:b.sqlite"])
def test_a_store_may_have_any_name(name: str, tmp_path: Path) -> None:
    place = tmp_path / name
    with open_store(str(place)) as store:
        create_job(store, "1")
    assert place.is_file()
    assert {p.name for p in tmp_path.iterdir()} <= {name.split("/")[0], name + "-wal", name + "-shm"}


@pytest.mark.skipif(sys.platform != "linux", reason="names that are not UTF-8 exist on Linux only")
def test_names_that_are_not_utf_8(tmp_path: Path) -> None:
    """The real program, since Python's own start-up decides how such a name arrives."""
    folder, store = os.fsencode(tmp_path), str(tmp_path / "s.sqlite")
    path = folder + b"/st\xe4rt.fcr"
    Path(os.fsdecode(path)).write_bytes(recorded("healthy"))
    tool = [sys.executable, "-m", "firstcrank.cli.main"]
    commands: list[list[str | bytes]] = [
        ["jobs", "new", b"\xe4 1", "--vehicle", b"H\xe4cksler", "--store", store],
        ["jobs", "attach", b"\xe4 1", path, "--store", store],
        ["jobs", "show", b"\xe4 1", "--store", store],
        ["judge", "--json", path],
        ["judge", path],
        ["report", path, "--html", folder + b"/\xe4.html"],
        ["judge", folder + b"/n\xf6.fcr"],
    ]
    for args in commands:
        done = subprocess.run([*tool, *args], capture_output=True, check=False)
        assert b"unexpected" not in done.stderr, (args, done.stderr)
        assert done.returncode in ((4,) if b"n\xf6" in bytes(args[-1] if isinstance(args[-1], bytes) else b"") else (0, 3)), (
            args
        )


def test_text_that_utf_8_cannot_hold_is_kept_with_question_marks(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "s.sqlite")) as store:
        create_job(store, "\udce4 1", vehicle="\udcff")
        assert [line.job["vehicle"] for line in list_jobs(store, Wanted("\udce4"))] == ["?"]


def bomb(path: Path, whole: Path) -> None:
    """The backup `whole` with a content of 300 MB of zeros in it, in a fraction of a megabyte."""
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(name, source.read(name))
        with target.open("contents/" + "0" * 64, "w", force_zip64=True) as file:
            for _ in range(300):
                file.write(bytes(1_000_000))


def test_a_backup_that_would_fill_the_disk_is_refused(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "s.sqlite")) as store:
        create_job(store, "1")
        back_up(store, tmp_path / "whole.zip")
    check_backup(tmp_path / "whole.zip")
    bomb(tmp_path / "bomb.zip", tmp_path / "whole.zip")
    assert (tmp_path / "bomb.zip").stat().st_size < 1_000_000
    with pytest.raises(StoreError, match="would unpack to"):
        check_backup(tmp_path / "bomb.zip")
