"""At a terminal no line breaks inside a word; in a pipe or a file a line stays whole."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from firstcrank.cli.before_crank import ASKED
from firstcrank.cli.main import main
from firstcrank.cli.say import say
from firstcrank.cli.wrapped import question, wrapped_text
from firstcrank.limits import SPECS
from firstcrank.visit.checklist import Check

from .terminal import finished, plain, run_at
from .test_checklist import SHIPPED

WIDTH = 60


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_what_goes_on_stands_under_the_indent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "30")
    lines = wrapped_text("     Expect: free, even, common practice, no single source").split("\n")
    assert len(lines) > 1
    assert max(map(len, lines)) <= 30
    assert all(line.startswith("     ") and line[5] != " " for line in lines)


def test_a_word_longer_than_the_line_is_left_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "30")
    path = "/a/long/folder/of/recordings/start-20260531-143000.fcr"
    assert path in wrapped_text(f"Kept as {path}").split("\n")


def test_a_question_leaves_room_for_its_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(WIDTH))
    for _, figure in ASKED:
        lines = question(f"{figure} (Enter: not known)").split("\n")
        assert max(map(len, lines)) <= WIDTH - len(" [y/N]: y")


def test_in_a_pipe_a_line_stays_whole(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "30")
    text = "there is no job 4711 (firstcrank jobs new 4711 makes it)"
    say(text)
    say(text, err=True)
    assert capsys.readouterr() == (f"{text}\n", f"{text}\n")


def test_an_error_at_a_narrow_terminal_breaks_between_words(tmp_path: Path) -> None:
    code, output = finished(run_at(tmp_path, "record", "--port", "/dev/no-such-port", "--yes", width=WIDTH))
    lines = plain(output).strip().split("\n")
    assert code == 4
    assert max(map(len, lines)) <= WIDTH
    assert "there is no port /dev/no-such-port: check the name and the cable ('firstcrank board list'" in one_line(
        plain(output)
    )


def test_the_checklist_at_a_narrow_terminal_breaks_between_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    with pytest.raises(SystemExit):
        main(["jobs", "new", "1207", "--store", str(tmp_path / "shop.sqlite")])
    asked: list[Check] = [check for check in SHIPPED if check.number in (4, 6, 7)]
    program = run_at(tmp_path, "checklist", "1207", *(w for c in asked for w in ("--check", str(c.number))), width=WIDTH)
    program.logfile_read = screen = io.StringIO()
    for letter in ("done", "y", "y", "q"):
        program.expect("q leave")
        program.sendline(letter)
    finished(program)
    output = plain(screen.getvalue())
    assert max(map(len, output.split("\n"))) <= WIDTH
    for check in asked:
        assert f"{check.number}. {check.text}" in one_line(output)
        assert f"Why: {check.why}. How: {check.how}" in one_line(output)


def test_a_letter_that_is_no_answer_and_a_number_that_is_no_check_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = str(tmp_path / "shop.sqlite")
    with pytest.raises(SystemExit):
        main(["jobs", "new", "1207", "--store", store])
    program = run_at(tmp_path, "checklist", "1207", "--check", "1")
    program.expect("q leave")
    program.sendline("done")
    program.expect("'done' is no answer here: one letter, y, n, s, x or q")
    program.expect("q leave")
    program.sendline("q")
    finished(program)
    with pytest.raises(SystemExit) as left:
        main(["checklist", "1207", "--check", "41", "--store", store])
    assert left.value.code == 2
    assert "there is no check 41: the list has 1 to 40" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [("wire", "--terminals"), ("wire", "--length", "3", "--amps", "5")])
def test_other_lines_at_a_narrow_terminal_break_between_words(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    code, output = finished(run_at(tmp_path, *arguments, width=WIDTH))
    assert code == 0
    assert max(map(len, plain(output).split("\n"))) <= WIDTH


def test_the_key_of_a_limit_is_never_in_two_pieces(tmp_path: Path) -> None:
    code, output = finished(run_at(tmp_path, "limits", "show", "--all", width=80))
    assert code == 0
    shown = plain(output).split()
    assert all(key in shown for key in SPECS)
