"""What the user sees: fixed width, no colour, and what must be on it."""

from __future__ import annotations

import io

import numpy as np
import pytest
from rich.console import Console

from firstcrank.analysis.verdict import judge
from firstcrank.cli.banner import LETTERS, banner
from firstcrank.cli.show import last_line, show
from firstcrank.cli.strip import BLOCKS, band, strip
from firstcrank.limits import shipped
from firstcrank.model.judgement import Dropout, Judgement
from firstcrank.trace import Trace
from firstcrank.tracefiles.native import from_bytes

from .bench_recording import recorded


def judged(name: str) -> tuple[Judgement, Trace]:
    recording = from_bytes(recorded(name))
    return judge(recording.trace, shipped(12), recording.context), recording.trace


def screen(name: str, width: int = 80, encoding: str = "utf-8", details: bool = True) -> str:
    target = io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True)
    console = Console(file=target, width=width, color_system=None, force_terminal=False, highlight=False)
    judgement, trace = judged(name)
    show(console, judgement, trace, title="start", details=details)
    last_line(console, judgement, "kept")
    assert isinstance(target.buffer, io.BytesIO)
    return target.buffer.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("name", ["healthy", "feed_dead_in_start", "short_crank"])
def test_no_line_is_wider_than_the_screen(name: str, width: int) -> None:
    assert max(map(len, screen(name, width).splitlines())) <= width


def test_the_verdict_comes_first_and_last_and_the_rest_in_the_order_of_use() -> None:
    said = screen("feed_dead_in_start")
    wanted = [
        "Key feed: FAIL",
        "█████",
        "Why ",
        "Probably",
        "Check next",
        "feed lost",
        "What was checked",
        "Not measured",
        "Key feed: FAIL",
    ]
    at = 0
    for text in wanted:
        at = said.index(text, at) + 1
    assert said.count("Key feed: FAIL") == 2
    assert "\x1b" not in said


def test_a_console_without_our_characters_gets_plain_ones() -> None:
    said = screen("feed_dead_in_start", encoding="ascii")
    assert "Key feed: FAIL" in said
    assert "^^^" in said
    assert "#####" in said
    assert "+/- " in said


def test_the_big_letters_are_there_for_every_verdict_and_of_one_width() -> None:
    for word in ("PASS", "FAIL", "NO VERDICT"):
        rows = banner(word)
        assert len({len(row) for row in rows}) == 1
        assert len(rows[0]) <= 76
    assert len(set(LETTERS.values())) == len(LETTERS)
    assert all(len(rows) == 5 and len({len(r) for r in rows}) == 1 for rows in LETTERS.values())


def test_a_band_fills_from_below() -> None:
    assert band(np.array([0.0, 14.0, 7.0]), 14.0, 2) == [" █ ", " ██"]
    assert band(np.array([-3.0, 99.0]), 14.0, 1) == [" █"]
    levels = band(np.linspace(0.0, 14.0, 200), 14.0, 1)[0]
    assert [BLOCKS.index(c) for c in levels] == sorted(BLOCKS.index(c) for c in levels)


def test_a_dropout_of_a_millisecond_is_seen_on_the_strip_and_drawn_again_closer() -> None:
    judgement, trace = judged("one_dropout")
    lines = strip(trace, judgement, 80)
    drop = next(d for d in judgement.dropouts if d.counts)
    assert drop.duration_s < 0.05
    marks = [line for line in lines if line.startswith("feed lost")]
    assert marks[0].count("▲") == 1
    assert marks[1].count("▲") >= 5
    key = next(line for line in lines if line.startswith("key switch"))
    column = marks[0].index("▲")
    assert key[column] == " "
    assert key[column - 3] == key[column + 3] == "█"
    assert any(f"The dropout at {drop.start_s:.3f} s, closer" in line for line in lines)


def test_what_does_not_count_is_not_marked() -> None:
    judgement, trace = judged("healthy")
    assert not any("feed lost" in line for line in strip(trace, judgement, 80))
    short = Dropout("key_switch", "crank", 5.0, 0.0004, 0.0003, 0.0005, 2.0, False)
    with_glitch = Judgement("PASS", (), (), (short,), judgement.phases, judgement.cranks, (), ())
    assert not any("feed lost" in line for line in strip(trace, with_glitch, 80))
