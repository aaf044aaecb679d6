"""The result is the last screenful, whatever the verdict and the advice; plain where that is wanted."""

from __future__ import annotations

import io
import itertools

import pytest
from rich.console import Console
from rich.text import Text

from firstcrank.analysis.causes.advice import ADVICE, Advice
from firstcrank.analysis.next_step import NEXT
from firstcrank.cli.result_screen import NO_FIRE_FIRST, SIMULATED, plain_lines, result_lines, show_result
from firstcrank.model.judgement import Cause, FeedVerdict, Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Result, Verdict
from firstcrank.report.summary import large_lines

FOOTER = "Kept as /home/somebody/firstcrank/recordings/start-20260101-101500.fcr (firstcrank judge last shows everything)"
LONG = (
    "lost for 22.5 ms (4.032 to 4.054 s), down to 0 V, from turn to START through START through release, while the battery held"
)


def made(verdict: str, advice: Advice | None, fault: CheckId | None = None, feed: str = "") -> Judgement:
    faults = (Finding(fault, Result.FAIL, LONG),) if fault else ()
    return Judgement(
        Verdict(verdict),
        (LONG,),
        (),
        (),
        (),
        (),
        (),
        (),
        likely_causes=(Cause("x", 0.9, LONG),) if advice else (),
        next_check=advice.check if advice else "",
        feed=FeedVerdict(Verdict(feed or verdict), (LONG,)),
        other_faults=faults,
        cautions=advice.cautions if advice else (),
    )


CASES = [
    *(made("FAIL", advice) for advice in ADVICE.values()),
    *(made("NO VERDICT", advice) for advice in NEXT.values()),
    *(
        made("FAIL", advice, fault, feed)
        for advice, fault, feed in itertools.product(
            ADVICE.values(), (CheckId.HEATER_POLARITY, CheckId.CHARGING), ("PASS", "FAIL", "NO VERDICT")
        )
    ),
    made("PASS", None),
]


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 20)])
@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("simulated", [False, True])
def test_verdict_why_and_next_check_are_on_one_screenful(width: int, height: int, ascii_only: bool, simulated: bool) -> None:
    for judgement in CASES:
        lines = result_lines(judgement, FOOTER, width, height - 1, ascii_only, simulated)
        assert len(lines) <= height - 1
        assert max(len(line) for line in lines) <= width
        output = " ".join(" ".join(line.plain for line in lines).split())
        assert "Why: " in output
        if judgement.next_check:
            assert judgement.next_check[-30:] in output
        for caution in judgement.cautions:
            assert caution[-25:] in output
        assert (NO_FIRE_FIRST in output) == (judgement.verdict == "PASS")
        assert ("SIMULATED" in output) == simulated


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 20)])
def test_the_verdict_stands_out_without_colour(width: int, height: int) -> None:
    for judgement in CASES:
        lines = result_lines(judgement, FOOTER, width, height - 1)
        first = lines[0]
        large = any(mark in first.plain for mark in "█▀▄")
        assert large or "reverse" in str(first.style)
        if not large:
            squeezed = " ".join(line.plain for line in lines).replace(" ", "")
            for line in large_lines(judgement):
                assert line.replace(" ", "") in squeezed
        assert not any("green" in str(line.style) or "red" in str(line.style) for line in lines)


def test_a_larger_screen_gets_larger_letters() -> None:
    judgement = made("PASS", None)
    tall = result_lines(judgement, FOOTER, 80, 40)
    low = result_lines(judgement, FOOTER, 80, 10)
    assert sum("█" in line.plain for line in tall) == 5
    assert sum("█" in line.plain or "▀" in line.plain for line in low) == 3
    tiny = result_lines(judgement, FOOTER, 30, 4)
    assert len(tiny) == 4
    assert "PASS" in tiny[0].plain


def test_plain_is_a_statement_a_line_and_nothing_else() -> None:
    judgement = made("FAIL", ADVICE["feed_relay"], CheckId.HEATER_POLARITY, "PASS")
    lines = plain_lines(judgement, FOOTER, simulated=True)
    assert lines[0] == SIMULATED + "."
    assert lines[1] == "Verdict: FEED PASS. DO NOT CRANK AGAIN."
    assert lines[3].startswith("Check next: ")
    assert lines[-1] == FOOTER


@pytest.mark.parametrize(("dumb", "plain"), [(True, False), (False, True)])
def test_a_dumb_terminal_and_the_option_get_plain_lines(dumb: bool, plain: bool) -> None:
    target = io.StringIO()
    console = Console(
        file=target, width=60, height=20, force_terminal=True, _environ={"TERM": "dumb" if dumb else "xterm"}, highlight=False
    )
    show_result(console, made("FAIL", ADVICE["feed_relay"]), FOOTER, plain=plain)
    output = target.getvalue()
    assert "\x1b" not in output
    assert output.splitlines()[0] == "Verdict: FAIL."


def test_no_colour_is_used_at_all() -> None:
    target = io.StringIO()
    console = Console(file=target, width=80, height=24, force_terminal=True, color_system="truecolor", highlight=False)
    show_result(console, made("PASS", None), FOOTER)
    codes = {code for part in target.getvalue().split("\x1b[")[1:] for code in part.split("m")[0].split(";")}
    assert codes <= {"0", "1", "7"}


def test_text_cannot_steer_the_screen() -> None:
    attack = "kept \x1b[2J \x07"
    for line in result_lines(made("PASS", None), attack, 80, 23):
        assert isinstance(line, Text)
        assert "\x1b" not in line.plain
