"""The result as the last screenful: verdict and other faults in large letters, why, what to check next with its cautions.

What the people at the vehicle saw (a runaway, no oil pressure) leads it before any verdict. Everything else is behind a key or
`firstcrank judge`. Reverse video and words, never colour alone; `plain` is for a screen reader, a dumb terminal, or whoever asks for it:
one statement a line, no pictures.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from rich.console import Console
from rich.text import Text

from firstcrank.analysis.causes.cautions import STANDING
from firstcrank.cli.banner import banner, fitted, half_height
from firstcrank.cli.no_fire import NO_FIRE
from firstcrank.cli.plain_letters import in_plain_letters
from firstcrank.model.judgement import Judgement
from firstcrank.printable import printable
from firstcrank.report.summary import harmful, large_lines, one_line
from firstcrank.units import sentence
from firstcrank.visit.ending import Ending

REVERSE = "bold reverse"
SIMULATED = "SIMULATED: no vehicle"
KEY_OFF = "KEY OFF"
NO_FIRE_FIRST = "PASS says only that the key feed held. If it cranks and does not fire: firstcrank help no-fire"
NO_START = "PASS, but it does not fire: no more bursts"
NO_START_WHY = (
    "Key off. No smoke while cranking: no fuel is delivered. Before the next crank, in order (firstcrank help no-fire):"
)
LATER = Ending(at_vehicle=False)
WHY_LINES = 2  # of a long reason; the whole of it where there is room


def ending_lines(judgement: Judgement, ending: Ending) -> list[str]:
    """What stands before the verdict, a statement a line: KEY OFF, a fault that was seen, bursts that started no engine."""
    if ending.is_fault:
        lines = [f"{'. '.join(ending.large)}.", f"Why: {ending.why}", f"Check next: {ending.next_check}"]
        return [*lines, *(f"Caution: {caution}" for caution in ending.cautions)]
    if _no_start(judgement, ending):
        return [f"{NO_START}.", NO_START_WHY, *NO_FIRE, *(f"Caution: {STANDING[key]}" for key in ("K1", "K4"))]
    return [f"{KEY_OFF}."] if _key_off(judgement, ending) else []


def plain_lines(judgement: Judgement, footer: str, simulated: bool = False, ending: Ending = LATER) -> list[str]:
    """One statement a line, in the order of use."""
    lines = [SIMULATED + "."] if simulated else []
    lines += ending_lines(judgement, ending)
    if ending.is_fault:
        lines.append(f"{one_line(judgement)}.")
    elif not _no_start(judgement, ending):
        lines += [f"Verdict: {'. '.join(large_lines(judgement))}.", f"Why: {_why(judgement)}"]
        if judgement.next_check:
            lines.append(f"Check next: {judgement.next_check}")
        lines += [f"Caution: {caution}" for caution in judgement.cautions]
        if _may_not_fire(judgement, ending):
            lines.append(NO_FIRE_FIRST)
    lines += [f"Noted: {text}." for text in ending.noted]
    return [printable(line) for line in [*lines, footer] if line]


def result_lines(
    judgement: Judgement,
    footer: str,
    width: int,
    height: int,
    ascii_only: bool = False,
    simulated: bool = False,
    ending: Ending = LATER,
) -> list[Text]:
    """At most `height` lines of at most `width`: the largest letters with which everything fits; cut from below where nothing does."""
    height, lines = max(height, 1), []
    for lines in _variants(judgement, footer, width, height, ascii_only, simulated, ending):
        if len(lines) <= height:
            return lines
    return lines[:height]


def _variants(
    judgement: Judgement, footer: str, width: int, height: int, ascii_only: bool, simulated: bool, ending: Ending
) -> Iterator[list[Text]]:
    """The result from its largest letters to its fewest lines."""
    spelled: Callable[[str], str] = in_plain_letters if ascii_only else str
    head = [_bar(SIMULATED, width)] if simulated else []
    if _no_start(judgement, ending):
        yield [*head, _bar(NO_START, width), *_no_start_body(ending, footer, width, height - len(head) - 1, spelled)]
        return
    large = ending.large or large_lines(judgement)
    key_off = not ending.is_fault and _key_off(judgement, ending)
    if key_off:
        head.append(_bar(KEY_OFF, width))
    whole, two, least = _Room(footer, True, None), _Room(footer, True, WHY_LINES), _Room("", False, 1, one_caution=True)
    for letters, room in product(_sizes(large, width, ascii_only), (whole, two)):
        yield [*head, *letters, *_body(judgement, ending, room, width, spelled)]
    first = (*(("SIMULATED",) if simulated else ()), *((KEY_OFF,) if key_off else ()))
    bar = _bar("  ".join((*first, *large)), width)
    for room in (two, replace(two, footer=""), replace(two, footer="", noted=False), replace(least, one_caution=False), least):
        yield [bar, *_body(judgement, ending, room, width, spelled)]


def show_result(
    console: Console,
    judgement: Judgement,
    footer: str,
    plain: bool = False,
    simulated: bool = False,
    ending: Ending = LATER,
    below: str = "",
) -> None:
    """The last screenful on a terminal; the plain lines on a dumb one or where asked. `below`: what will be printed under it."""
    if plain or console.is_dumb_terminal:
        for statement in plain_lines(judgement, footer, simulated, ending):
            console.print(statement, soft_wrap=True)
        return
    width, ascii_only = console.width, console.options.ascii_only
    height = console.height - 1 - len(textwrap.wrap(below, width))  # the shell's prompt stands under it, in one line or two
    for room in (height - 1, height):
        lines = result_lines(judgement, footer, width, room, ascii_only, simulated, ending)
        smallest = [*_variants(judgement, footer, width, room, ascii_only, simulated, ending)][-1]
        if len(smallest) <= room:
            break
    for line in lines:
        console.print(line, no_wrap=True, crop=True)


def _key_off(judgement: Judgement, ending: Ending) -> bool:
    """Whether KEY OFF comes first: by how it ended, or after a FAIL but one of an engine that runs with a good feed."""
    bad_feed = judgement.feed.verdict == "FAIL" or harmful(judgement)
    return ending.key_off or (ending.at_vehicle and judgement.verdict == "FAIL" and (bad_feed or not ending.ran))


def _no_start(judgement: Judgement, ending: Ending) -> bool:
    return ending.no_start and judgement.verdict == "PASS"


def _may_not_fire(judgement: Judgement, ending: Ending) -> bool:
    """Of an engine that was seen to run it is not said."""
    return judgement.verdict == "PASS" and not ending.ran and not any(crank.engine_ran_on for crank in judgement.cranks)


def _sizes(large: Sequence[str], width: int, ascii_only: bool) -> list[list[Text]]:
    """The large lines in falling size: full height, half height, one reverse bar each."""
    broken = [fitted(line, width) for line in large]
    sizes: list[list[Text]] = []
    if all(b is not None for b in broken):
        pieces = [word for b in broken if b is not None for word in b]
        makers: list[Callable[[str], list[str]]] = [lambda word: banner(word, ascii_only)]
        if not ascii_only:
            makers.append(lambda word: half_height(banner(word, ascii_only=True)))
        sizes += [[Text(row, style="bold") for word in pieces for row in (*make(word), "")] for make in makers]
    sizes.append([_bar(" ".join(line) if 2 * len(line) < width else line, width) for line in large])
    return sizes


@dataclass(frozen=True, slots=True)
class _Room:
    """What stands under the large words: `why_lines` at most of the reason, None for all of it; cautions run on in one paragraph."""

    footer: str
    noted: bool
    why_lines: int | None
    one_caution: bool = False


def _body(judgement: Judgement, ending: Ending, room: _Room, width: int, spelled: Callable[[str], str]) -> list[Text]:
    fault = ending.is_fault
    why = spelled(ending.why if fault else _why(judgement))
    lines = _labelled("Why", why if room.why_lines is None else _shortened(why, width, room.why_lines), width)
    next_check, cautions = (ending.next_check, ending.cautions) if fault else (judgement.next_check, judgement.cautions)
    if next_check:
        lines += _labelled("Check next", spelled(next_check), width)
    for caution in (" ".join(cautions),) if room.one_caution and cautions else cautions:
        lines += _labelled("Caution", spelled(caution), width)
    if fault:
        lines += [Text(line) for line in textwrap.wrap(one_line(judgement), width)]
    elif _may_not_fire(judgement, ending):
        lines += [Text(line) for line in textwrap.wrap(NO_FIRE_FIRST, width)]
    if room.noted:
        lines += _noted(ending, width, spelled)
    return [*lines, *(Text(line) for line in textwrap.wrap(spelled(printable(room.footer)), width))]


def _no_start_body(ending: Ending, footer: str, width: int, height: int, spelled: Callable[[str], str]) -> list[Text]:
    """The list of what to check, then cautions, what was noted and the footer as far as each fits whole."""
    lines = [Text(line) for line in textwrap.wrap(NO_START_WHY, width)]
    lines += [Text(line) for text in NO_FIRE for line in textwrap.wrap(spelled(text), width)]
    cautions = [_labelled("Caution", spelled(STANDING[key]), width) for key in ("K1", "K4")]
    below = [Text(line) for line in textwrap.wrap(spelled(printable(footer)), width)]
    for block in (*cautions, _noted(ending, width, spelled), below):
        if len(lines) + len(block) <= height:
            lines += block
    return lines


def _noted(ending: Ending, width: int, spelled: Callable[[str], str]) -> list[Text]:
    return [line for text in ending.noted for line in _labelled("Noted", spelled(text), width)]


def _labelled(label: str, text: str, width: int) -> list[Text]:
    """`label: text` wrapped over the whole width, the label in reverse."""
    wrapped = textwrap.wrap(f"{label}: {printable(text)}", width)
    head, colon, rest = wrapped[0].partition(":")
    return [Text.assemble((head + colon, REVERSE), rest), *(Text(line) for line in wrapped[1:])]


def _why(judgement: Judgement) -> str:
    """The worst fault's line, else the feed's first reason."""
    feed = (judgement.feed.reasons or judgement.reasons or ("",))[0]
    text = judgement.other_faults[0].reason if judgement.other_faults else feed
    return sentence(text)


def _shortened(text: str, width: int, most_lines: int) -> str:
    """The text on so many lines, cut where a clause ends; in the middle of one, with dots, only where its first clause is too long."""

    def fits(part: str) -> bool:
        return len(textwrap.wrap(f"Why: {printable(part)}", width)) <= most_lines

    if fits(text):
        return text
    ends = [found.start() for found in re.finditer(r"[,;:](?= )| \(", text)]
    whole = next(
        (text[:end] for end in reversed(ends) if text.count("(", 0, end) == text.count(")", 0, end) and fits(text[:end])), ""
    )
    if whole:
        return whole
    pieces = text.split()
    while len(pieces) > 1 and not fits(" ".join(pieces) + " ..."):
        pieces.pop()
    return " ".join(pieces) + " ..."


def _bar(text: str, width: int) -> Text:
    return Text(f" {text} ".center(width)[:width], style=REVERSE)
