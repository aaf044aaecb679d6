"""The result is the last screenful, whatever the verdict and the advice; plain where that is wanted."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace

import pytest
from rich.console import Console
from rich.text import Text

from firstcrank.analysis.causes.advice import ADVICE, Advice
from firstcrank.analysis.next_step import NEXT
from firstcrank.cli.file_start import filed_line
from firstcrank.cli.no_fire import NO_FIRE
from firstcrank.cli.result_screen import NO_FIRE_FIRST, NO_START, SIMULATED, plain_lines, result_lines, show_result
from firstcrank.model.judgement import Cause, Crank, FeedVerdict, Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Result, Verdict
from firstcrank.report.summary import large_lines
from firstcrank.visit.ending import RUNAWAY_CAUTION, Ending, ending_of
from firstcrank.visit.values import Burst, Fault, Visit

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


def ended(fault: Fault, **visit: object) -> Ending:
    ran = Burst(4.0, 2.0, True, True)
    return ending_of(Visit(guided=True, fault=fault, bursts=(ran,), ran=True, noted=("no oil pressure within 15 s",), **visit))  # type: ignore[arg-type]


def squeezed(lines: list[Text]) -> str:
    return " ".join(" ".join(line.plain for line in lines).split())


def shown_at(
    width: int, height: int, judgement: Judgement, ending: Ending, below: str = "", simulated: bool = False
) -> list[str]:
    target = io.StringIO()
    console = Console(
        file=target,
        width=width,
        height=height,
        force_terminal=True,
        color_system=None,
        _environ={"TERM": "xterm"},
        highlight=False,
    )
    show_result(console, judgement, FOOTER, simulated=simulated, ending=ending, below=below)
    return target.getvalue().splitlines()


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 20)])
@pytest.mark.parametrize("feed", ["PASS", "NO VERDICT"])
@pytest.mark.parametrize(
    ("fault", "first", "next_check"),
    [
        ("runaway", ("RUNAWAY", "KEY OFF"), "Do not crank again before the cause of the runaway is found."),
        ("no oil pressure", ("NO OIL PRESSURE", "KEY OFF"), "Find out why there was no oil pressure before the next crank."),
    ],
)
def test_what_was_seen_at_the_vehicle_leads_and_the_feed_stands_in_small(
    width: int, height: int, feed: str, fault: Fault, first: tuple[str, str], next_check: str
) -> None:
    ending, judgement = ended(fault), made(feed, None)
    lines = result_lines(judgement, FOOTER, width, height - 2, ending=ending)
    low = result_lines(judgement, FOOTER, width, 12, ending=ending)
    for shown in (lines, low):
        output = squeezed(shown)
        assert "does not fire" not in output
        assert f"Check next: {next_check}" in output
        assert output.index("Why: ") < output.index("Check next: ") < output.index("Caution: ") < output.index("Key feed: ")
        assert f"Key feed: {feed}" in output
    assert "reverse" in str(low[0].style)
    assert squeezed(low).replace(" ", "").startswith("".join(first).replace(" ", ""))
    assert any(mark in lines[0].plain for mark in "█▀▄") or "reverse" in str(lines[0].style)
    statements = plain_lines(judgement, FOOTER, ending=ending)
    assert statements[0] == f"{first[0]}. {first[1]}."
    assert f"Key feed: {feed}." in statements
    assert not any("fire" in line for line in statements)
    if fault == "runaway":
        assert f"Caution: {RUNAWAY_CAUTION}" in statements


def test_a_runaway_that_was_not_answered_for_still_wants_the_air_shut() -> None:
    statements = plain_lines(made("PASS", None), FOOTER, ending=ended("runaway", air=True))
    assert statements[0] == "SHUT AIR. KEY OFF."


def test_three_bursts_without_a_start_have_their_own_screen() -> None:
    bursts = tuple(Burst(at, 4.0, True, False) for at in (4.0, 40.0, 80.0))
    ending = ending_of(Visit(guided=True, bursts=bursts))
    assert ending.no_start
    for width, height in ((80, 24), (60, 20)):
        lines = result_lines(made("PASS", None), FOOTER, width, height - 2, ending=ending)
        assert len(lines) <= height - 2
        assert lines[0].plain.strip() == NO_START
        assert "PASS, but it does not fire: no more bursts" in lines[0].plain
        output = squeezed(lines)
        places = [output.index(text) for text in NO_FIRE]
        assert places == sorted(places)
        assert "firstcrank help no-fire" in output
        if height == 24:
            assert "nobody near belts" in output
            assert "Never loosen a high-pressure fuel line" in output
            assert "Kept as" in output
    assert NO_START not in squeezed(result_lines(made("FAIL", None), FOOTER, 80, 22, ending=ending))
    statements = plain_lines(made("PASS", None), FOOTER, ending=ending)
    assert statements[0] == f"{NO_START}."


def test_does_not_fire_is_not_said_of_an_engine_that_ran() -> None:
    judgement = made("PASS", None)
    assert NO_FIRE_FIRST in squeezed(result_lines(judgement, FOOTER, 80, 22))
    assert NO_FIRE_FIRST not in squeezed(result_lines(judgement, FOOTER, 80, 22, ending=Ending(ran=True)))
    seen = replace(judgement, cranks=(Crank(1.0, 3.0, engine_ran_on=True),))
    assert NO_FIRE_FIRST not in squeezed(result_lines(seen, FOOTER, 80, 22))
    assert NO_FIRE_FIRST not in plain_lines(seen, FOOTER)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 20), (60, 40)])
def test_after_a_fail_key_off_comes_first_at_the_vehicle_and_not_in_a_file_judged_later(width: int, height: int) -> None:
    failed = made("FAIL", ADVICE["feed_relay"])
    lines = result_lines(failed, FOOTER, width, height - 2, simulated=True, ending=Ending())
    first = squeezed(lines[:2]).replace(" ", "")
    assert "KEYOFF" in first
    assert plain_lines(failed, FOOTER, ending=Ending())[0] == "KEY OFF."
    assert "KEY OFF." not in plain_lines(failed, FOOTER)
    assert "KEY OFF." not in plain_lines(made("PASS", None), FOOTER, ending=Ending())
    charging = made("FAIL", ADVICE["no_charge"], CheckId.CHARGING, "PASS")  # its next check wants the engine running
    assert "KEY OFF." not in plain_lines(charging, FOOTER, ending=Ending(ran=True))


def test_a_crank_before_the_lamp_was_answered_for_is_shown_with_the_result() -> None:
    early = "cranked before the WAIT lamp was answered for"
    ending = ending_of(Visit(guided=True, noted=(early,), bursts=(Burst(4.0, 2.0, True, False),)))
    assert f"Noted: {early}" in squeezed(result_lines(made("PASS", None), FOOTER, 80, 22, ending=ending))
    assert f"Noted: {early}." in plain_lines(made("PASS", None), FOOTER, ending=ending)
    alone = ending_of(Visit(guided=True, attended=False, noted=(early,)))
    assert not alone.noted


@pytest.mark.parametrize("simulated", [False, True])
def test_filed_line_and_prompt_leave_the_verdict_on_the_screen(simulated: bool) -> None:
    below = filed_line("1207", simulated)
    assert len(below) <= 60
    for width, height in ((80, 24), (60, 20)):
        spare = []
        for judgement in CASES:
            lines = shown_at(width, height, judgement, Ending(), below, simulated)
            spare.append(height - len(lines) - 1)  # the filed line under it
            output = " ".join(" ".join(lines).split())
            large = any(mark in output for mark in "█▀▄")
            assert large or all(line.replace(" ", "") in output.replace(" ", "") for line in large_lines(judgement))
            for caution in judgement.cautions:
                assert caution[-25:] in output
        assert min(spare) >= 1  # the prompt
        assert sum(left >= 2 for left in spare) > 0.9 * len(spare)


@pytest.mark.parametrize("width", [60, 80])
def test_a_long_reason_takes_two_lines_or_ends_with_a_clause(width: int) -> None:
    lines = result_lines(made("FAIL", ADVICE["feed_relay"]), FOOTER, width, 20)
    output = squeezed(lines)
    assert "..." not in output.partition("Check next")[0]
    why = output.partition("Why: ")[2].partition(" Check next")[0]
    assert LONG[1:].startswith(why[1:])
    endless = replace(made("FAIL", ADVICE["feed_dead_in_start"]), feed=FeedVerdict(Verdict.FAIL, ("volt " * 60,)))
    cut = result_lines(endless, FOOTER, 60, 18)
    assert "..." in squeezed(cut)  # one clause that no two lines hold
