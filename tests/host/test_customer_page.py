"""What a customer reads: chosen notes and photos only, no options, before and after, plots whose words and names are all there."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.jobs import corrections, records
from firstcrank.jobs.filing import attach
from firstcrank.jobs.states import StartState
from firstcrank.jobs.store import open_store
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import Judgement
from firstcrank.report import html
from firstcrank.report.customer_text import without_options
from firstcrank.report.document import texts
from firstcrank.report.drawing import around_the_cranks, overview
from firstcrank.report.gather import from_store
from firstcrank.report.inputs import ReportInputs
from firstcrank.report.sections import SHOP_ONLY, document
from firstcrank.report.svg import as_svg
from firstcrank.trace import Trace
from firstcrank.tracefiles.table import load

from .sim_recording import recorded
from .test_report import inputs
from .test_report_zoom import stretched
from .test_text_is_text import run

PHOTO = bytes.fromhex(  # 2 by 2 pixels
    "89504e470d0a1a0a0000000d4948445200000002000000020802000000fdd49a730000001649444154789c633c2127c7c0c0c0c4c0c0c0"
    "c0c000000d0401087d71ca660000000049454e44ae426082"
)
OPTION = re.compile(r"--[a-z]|firstcrank [a-z]+")


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("crank speed: give the number of cylinders (--cylinders)", "crank speed: give the number of cylinders"),
        ("give the module's power-down time (--hold-on, maker's figure)", "give the module's power-down time (maker's figure)"),
        ("for a 24 V vehicle use --system 24", "for a 24 V vehicle it is to be judged as a 24 V vehicle"),
        (
            "Calibrate the board (firstcrank board calibrate), then judge this recording with --calibration.",
            "Calibrate the board, then judge this recording again.",
        ),
        ("the feed dropped - twice, -0.2 V", "the feed dropped - twice, -0.2 V"),
    ],
)
def test_lines_of_the_judge_without_options(line: str, shown: str) -> None:
    assert without_options(line) == shown


def test_no_line_that_the_judge_can_say_has_an_option_left() -> None:
    """Every text of the judge in the source that names one."""
    root = Path(html.__file__).parents[1]
    found = []
    for folder in ("analysis", "tracefiles"):
        for path in (root / folder).rglob("*.py"):
            found += re.findall(r'"([^"\n]*(?:--[a-z]|\(firstcrank )[^"\n]*)"', path.read_text("utf-8"))
    assert len(found) > 10
    for line in found:
        assert not OPTION.search(without_options(line)), line


@pytest.mark.parametrize("name", ["marigold_trap", "short_crank", "one_sweep"])
def test_a_page_has_no_options(tmp_path: Path, name: str) -> None:
    made = inputs(tmp_path, name)
    judgement = judge(made.recording.trace, shipped(24), Context())
    for judged in (made, replace(made, judgement=judgement)):
        own = [text for section in SHOP_ONLY for part in section(judged) for text in texts(part)]
        shown = [text for part in document(judged) for text in texts(part) if text not in own]
        assert len(shown) > 40
        assert [text for text in shown if OPTION.search(text)] == []


def filed(tmp_path: Path) -> str:
    """A store with a job repaired: start 1 before, start 2 after, notes and photos of both kinds."""
    place = str(tmp_path / "s.sqlite")
    with open_store(place) as store:
        records.create_job(store, "1207", vehicle="Marigold", customer="M. Tansy")
        for name, state in (("marigold_trap", StartState.BEFORE), ("marigold_repaired", StartState.AFTER)):
            path = tmp_path / f"{name}.fcr"
            path.write_bytes(recorded(name))
            corrections.set_state(store, str(attach(store, "1207", path)), state)
        records.add_note(store, "1207", "asks for a discount each time", "office")
        chosen = records.add_note(store, "1207", "Feed moved to the START and RUN terminal", "R. Hale")
        corrections.show_customer(store, "note", chosen, True)
        records.add_photo(store, "1207", "a.png", PHOTO, "inside the office")
        corrections.show_customer(store, "photo", records.add_photo(store, "1207", "b.png", PHOTO, "the new terminal"), True)
    return place


def test_only_what_was_chosen_is_shown_and_before_stands_beside_after(tmp_path: Path) -> None:
    place = filed(tmp_path)
    with open_store(place) as store:
        made = from_store(store, "2")
        first = from_store(store, "1")
    page = html.render(made)
    assert "Feed moved to the START and RUN terminal" in page
    assert "discount" not in page
    assert "the new terminal" in page
    assert "inside the office" not in page
    assert page.count("data:image/png;base64,") == 1
    shown = [text for part in document(made) for text in texts(part)]
    row = shown.index("Longest loss of the key feed")
    assert shown[row + 1 : row + 3] == ["3.69 s", "none"]
    assert shown[shown.index("Result", shown.index("Before and after")) + 1 :][:2] == ["FAIL", "PASS"]
    assert "Before and after" not in html.render(first)
    assert "1207" in page
    assert "M. Tansy" in page


def test_the_start_before_can_be_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = filed(tmp_path)
    out = tmp_path / "page.html"
    assert run("report", "1", "--before", "2", "--html", str(out), "--store", place) == 0
    assert "Before: start 2" in out.read_text("utf-8")
    assert run("report", str(tmp_path / "marigold_trap.fcr"), "--before", "2", "--html", str(out)) == 2
    assert "compare BEFORE AFTER" in capsys.readouterr().err


def test_one_loss_has_one_length(tmp_path: Path) -> None:
    page = html.render(inputs(tmp_path))
    assert set(re.findall(r"(\d+\.\d+) s (?:\(3\.638|at 3\.638)", page)) == {"3.69"}


def test_a_picture_has_its_words_title_and_a_legend_of_the_hatching(tmp_path: Path) -> None:
    made = inputs(tmp_path)
    for phone in (False, True):
        svg = as_svg(overview(made.recording.trace, made.judgement), phone)
        assert 'role="img"' in svg
        assert "Key feed: 0.0 to 12." in svg
        assert "Feed lost from 3.638 to 7.332 s." in svg
        assert "<title>Voltages over the whole start</title>" in svg
        assert ">feed lost<" in svg
        assert ">START<" in svg


def test_lines_that_lie_on_each_other_are_both_seen(tmp_path: Path) -> None:
    """Each is narrower than the one below it, and all but the lowest are broken."""
    curves = overview(*_of(inputs(tmp_path))).curves
    widths = [curve.width_pt for curve in curves]
    assert widths == sorted(widths, reverse=True)
    assert len(set(widths)) == len(widths)
    assert all(curve.style.dashes for curve in curves[1:])


def _of(made: ReportInputs) -> tuple[Trace, Judgement]:
    return made.recording.trace, made.judgement


def test_start_is_named_and_shown_large_in_a_long_recording(tmp_path: Path) -> None:
    """Six minutes with a crank of 3.6 s."""
    made = inputs(tmp_path)
    long = stretched(made.recording.trace, 40)
    assert "START" in [name for _, name in overview(long, made.judgement).captions]
    cranks = around_the_cranks(long, made.judgement)
    assert cranks is not None
    assert cranks.time_s[1] - cranks.time_s[0] < 10
    assert around_the_cranks(*_of(made)) is None


def test_a_dark_screen_has_colours_of_its_own_for_every_lead() -> None:
    from firstcrank.role_properties import PROPERTIES

    style = html.page([], "x").split("<style>")[1].split("</style>")[0]
    dark = style.split("prefers-color-scheme: dark")[1].split("@page")[0]
    assert "@media screen and (prefers-color-scheme: dark)" in style, "paper stays white"
    for role in PROPERTIES:
        assert f".l-{role} " in dark, role


def test_a_recording_of_a_file_has_a_page_too(tmp_path: Path) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("marigold_trap"))
    assert len(load(path).trace) > 0
    assert run("report", str(path), "--html", str(tmp_path / "x.html"), "--pdf", str(tmp_path / "x.pdf")) == 0
    assert (tmp_path / "x.pdf").read_bytes().startswith(b"%PDF")
