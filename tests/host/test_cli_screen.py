"""What the user sees: fixed width, no colour, and what must be on it."""

from __future__ import annotations

import functools
import io
import re
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from firstcrank.analysis.verdict import judge
from firstcrank.cli.banner import LETTERS, banner, fitted, half_height
from firstcrank.cli.show import last_line, show
from firstcrank.cli.strip import BLOCKS, band, strip
from firstcrank.limits import shipped
from firstcrank.model.judgement import Cause, Dropout, DropoutKind, FeedVerdict, Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Phase, Result, Verdict
from firstcrank.report.summary import DO_NOT_CRANK_AGAIN, OTHER_FAULT, large_lines, losses, rows
from firstcrank.trace import Trace
from firstcrank.tracefiles.native import from_bytes
from firstcrank.units import format_duration

from .sim_recording import make, recorded


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
    output = screen("feed_dead_in_start")
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
        at = output.index(text, at) + 1
    assert output.count("Key feed: FAIL") == 2
    assert "\x1b" not in output


def test_a_console_without_our_characters_gets_plain_ones() -> None:
    output = screen("feed_dead_in_start", encoding="ascii")
    assert "Key feed: FAIL" in output
    assert "^^^" in output
    assert "#####" in output
    assert "+/- " in output


LARGE = ("PASS", "FAIL", "NO VERDICT", "FEED PASS", "FEED FAIL", "FEED NO VERDICT", OTHER_FAULT, DO_NOT_CRANK_AGAIN)


def test_the_big_letters_are_there_for_every_large_line_and_of_one_width() -> None:
    for text in LARGE:
        for width in (56, 76):
            lines = fitted(text, width)
            assert lines is not None
            assert " ".join(lines) == text
            for line in lines:
                rows = banner(line)
                assert len({len(row) for row in rows}) == 1
                assert len(rows[0]) <= width
    assert fitted("CRANK", 20) is None
    assert len(set(LETTERS.values())) == len(LETTERS)
    assert all(len(rows) == 5 and len({len(r) for r in rows}) == 1 for rows in LETTERS.values())


def test_half_height_letters_keep_every_dot() -> None:
    full = banner("DO NOT CRANK AGAIN", ascii_only=True)
    half = half_height(full)
    assert len(half) == 3
    upper, lower = str.maketrans("▀█▄ ", "##  "), str.maketrans("▀█▄ ", " ## ")
    undone = [row.translate(t) for row in half for t in (upper, lower)]
    assert undone[:5] == full
    assert not undone[5].strip()


LEADS = {
    "module_supply_drop": ("battery", "key_switch", "module_supply", "module_ground", "starter_coil"),
    "heater_reversed": ("battery", "key_switch", "heater_coil", "heater_return", "starter_coil"),
    "heater_feed_low": ("battery", "key_switch", "heater_coil", "heater_return", "starter_coil"),
}


@functools.cache
def with_fault(name: str) -> tuple[Judgement, Trace]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "start.fcr"
        make(name, path, leads=LEADS[name])
        recording = from_bytes(path.read_bytes())
    return judge(recording.trace, shipped(12), recording.context), recording.trace


def coloured(judgement: Judgement, trace: Trace | None, width: int = 80) -> str:
    console = Console(file=io.StringIO(), width=width, color_system="standard", force_terminal=True, highlight=False)
    show(console, judgement, trace, title="start")
    last_line(console, judgement, "kept")
    return str(console.file.getvalue())  # type: ignore[attr-defined]


GREEN, YELLOW, REVERSE = "\x1b[1;32m", "\x1b[1;33m", "\x1b[1;7m"


@pytest.mark.parametrize("name", list(LEADS))
@pytest.mark.parametrize("width", [60, 80])
def test_a_fault_beside_a_feed_that_passes_is_as_large_and_never_green(name: str, width: int) -> None:
    judgement, trace = with_fault(name)
    assert (judgement.verdict, judgement.feed.verdict) == ("FAIL", "PASS")
    harm = name != "heater_feed_low"
    assert large_lines(judgement) == ("FEED PASS", DO_NOT_CRANK_AGAIN if harm else OTHER_FAULT)
    output = coloured(judgement, trace, width)
    assert GREEN not in output
    assert "\x1b[32m" not in output
    plain = plain_screen(judgement, trace, width)
    for text in large_lines(judgement):
        for line in fitted(text, width - 4) or ["?"]:
            for row in half_height(banner(line, ascii_only=True)):
                assert row.rstrip() in plain
    assert max(map(len, plain.splitlines())) <= width
    assert not any(row.strip("│ ") == banner("PASS")[1] for row in plain.splitlines())  # PASS alone, in large letters
    assert plain.count("Key feed: PASS  OTHER FAULT FOUND") == 2
    assert ("DO NOT CRANK AGAIN" in plain) == harm


def plain_screen(judgement: Judgement, trace: Trace | None, width: int = 80, encoding: str = "utf-8") -> str:
    target = io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True)
    console = Console(file=target, width=width, color_system=None, force_terminal=False, highlight=False)
    show(console, judgement, trace, title="start")
    last_line(console, judgement, "kept")
    assert isinstance(target.buffer, io.BytesIO)
    return target.buffer.getvalue().decode(encoding)


def test_the_other_fault_comes_before_the_feed_and_the_worst_before_the_rest() -> None:
    output = plain_screen(*with_fault("module_supply_drop"))
    order = [
        "Other fault ",
        "Do not crank again: ",
        "odule supply drops",
        "Key feed  ",
        "Probably ",
        "Check next",
        "What was checked",
    ]
    places = [output.index(text) for text in order]
    assert places == sorted(places)


def test_a_console_without_our_characters_gets_the_fault_in_plain_ones() -> None:
    output = plain_screen(*with_fault("heater_reversed"), encoding="ascii")
    assert all(row.rstrip() in output for row in banner("DO NOT CRANK", ascii_only=True))


def test_probably_is_said_only_of_a_failure() -> None:
    cause = Cause("slow_crank", 0.6, "it turns slowly", "check the battery")
    for verdict, label in (("PASS", "Note"), ("NO VERDICT", "Perhaps"), ("FAIL", "Probably")):
        made = made_up(verdict, likely_causes=(cause,))
        output = plain_screen(made, None)
        assert f"{label} " in output
        assert ("Probably" in output) == (verdict == "FAIL")


def test_no_verdict_is_seen_on_a_white_screen_and_without_colour() -> None:
    judgement, trace = judged("short_crank")
    output = coloured(judgement, trace)
    assert YELLOW not in output
    assert "\x1b[33m" not in output
    assert len(re.findall(re.escape(REVERSE) + " *Key feed: NO VERDICT", output)) == 2
    assert GREEN in coloured(*judged("healthy"))


def test_what_was_tolerated_has_a_label_of_its_own() -> None:
    made = made_up("PASS", tolerated=("one bounce of 4 ms as the key turns to START at 5.020 s",))
    output = plain_screen(made, None)
    assert re.search(r"Tolerated +One bounce of 4 ms", output)


def test_one_loss_is_listed_once_and_its_drops_not_at_all() -> None:
    judgement, _ = judged("feed_dead_in_start")
    (loss,) = losses(judgement)
    assert len(loss.phases) > 1
    listed = [f for f in rows(judgement) if f.result == "fail"]
    assert [f.reason for f in listed] == [
        f"lost for {format_duration(loss.duration_s)} ({loss.start_s:.3f} to {loss.end_s:.3f} s), down to 0 V, from "
        "turn to START through START through release"
    ]
    assert sum(f.scope == "evidence" for f in rows(judgement)) == 1


def test_a_loss_is_marked_whole_on_the_strip() -> None:
    judgement, trace = judged("feed_dead_in_start")
    (loss,) = losses(judgement)
    (markers,) = [line for line in strip(trace, judgement, 80) if line.startswith("feed lost")]
    column_s = float(trace.end_s[-1] - trace.start_s[0]) / (80 - 14 - 10)
    assert markers.count("▲") == pytest.approx(loss.duration_s / column_s, abs=2)
    assert "▲" * markers.count("▲") in markers


def test_what_is_tolerated_is_not_marked_as_lost() -> None:
    judgement, trace = judged("healthy")
    kinds: dict[DropoutKind, bool] = {
        "tolerated": False,
        "short": False,
        "counts": True,
        "with supply": False,
        "undecided": True,
    }
    for kind, marked in kinds.items():
        loss = Dropout("key_switch", Phase.TURN, 5.0, 0.004, 0.0039, 0.0041, 2.0, True, kind)
        one = replace(judgement, dropouts=(loss,))
        assert any("feed lost" in line for line in strip(trace, one, 80)) == marked, kind
    middle_s = 0.5 * (judgement.cranks[0].start_s + judgement.cranks[0].end_s)
    dip = Dropout("key_switch", Phase.CRANK, middle_s, 0.02, 0.019, 0.021, 4.0, True, "with supply")
    for result, crank, marked in (
        ("warn", 1, False),
        ("fail", 1, True),
        ("no verdict", 1, True),
        ("fail", 2, False),
        ("fail", None, False),
    ):
        supply = Finding(CheckId.SUPPLY_MINIMUM, Result(result), "a dip", crank=crank)
        one = replace(judgement, dropouts=(dip,), findings=(supply,))
        assert any("feed lost" in line for line in strip(trace, one, 80)) == marked, (result, crank)


def made_up(verdict: str, **parts: object) -> Judgement:
    feed = FeedVerdict(Verdict(verdict), ("a reason",))
    return Judgement(Verdict(verdict), ("a reason",), (), (), (), (), (), (), feed=feed, **parts)  # type: ignore[arg-type]


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
    markers = [line for line in lines if line.startswith("feed lost")]
    assert markers[0].count("▲") == 1
    assert markers[1].count("▲") >= 5
    key = next(line for line in lines if line.startswith("key switch"))
    column = markers[0].index("▲")
    assert key[column] == " "
    assert key[column - 3] == key[column + 3] == "█"
    assert any(f"The dropout at {drop.start_s:.3f} s, closer" in line for line in lines)


def test_what_does_not_count_is_not_marked() -> None:
    judgement, trace = judged("healthy")
    assert not any("feed lost" in line for line in strip(trace, judgement, 80))
    short = Dropout("key_switch", Phase.CRANK, 5.0, 0.0004, 0.0003, 0.0005, 2.0, False, "short")
    with_glitch = replace(judgement, dropouts=(short,))
    assert not any("feed lost" in line for line in strip(trace, with_glitch, 80))
