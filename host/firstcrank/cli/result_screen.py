"""The result as the last screenful: verdict and other faults in large letters, one line of why, what to check next with its cautions.

Everything else is behind a key or `firstcrank judge`. Reverse video and words, never colour alone; `plain` is for a screen reader, a
dumb terminal, or whoever asks for it: one statement a line, no pictures.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable

from rich.console import Console
from rich.text import Text

from firstcrank.cli.banner import banner, fitted, half_height
from firstcrank.cli.plain_letters import in_plain_letters
from firstcrank.model.judgement import Judgement
from firstcrank.printable import printable
from firstcrank.report.summary import large_lines

REVERSE = "bold reverse"
SIMULATED = "SIMULATED: no vehicle"
NO_FIRE_FIRST = "PASS says only that the key feed held. If it cranks and does not fire: firstcrank help no-fire"


def plain_lines(judgement: Judgement, footer: str, simulated: bool = False) -> list[str]:
    """One statement a line, in the order of use."""
    lines = [SIMULATED + "."] if simulated else []
    lines += [f"Verdict: {'. '.join(large_lines(judgement))}.", f"Why: {_why(judgement)}"]
    if judgement.next_check:
        lines.append(f"Check next: {judgement.next_check}")
    lines += [f"Caution: {caution}" for caution in judgement.cautions]
    if judgement.verdict == "PASS":
        lines.append(NO_FIRE_FIRST)
    return [printable(line) for line in [*lines, footer] if line]


def result_lines(
    judgement: Judgement, footer: str, width: int, height: int, ascii_only: bool = False, simulated: bool = False
) -> list[Text]:
    """At most `height` lines of at most `width`: the largest letters with which everything fits."""
    body = _body(judgement, footer, width, ascii_only)
    top = [_bar(SIMULATED, width)] if simulated else []
    for large in _sizes(judgement, width, ascii_only):
        lines = [*top, *large, *body]
        if len(lines) <= height:
            return lines
    mark = "SIMULATED  " if simulated else ""
    bare = _body(judgement, "", width, ascii_only)
    return [_bar(mark + "   ".join(large_lines(judgement)), width), *bare][: max(height, 1)]


def show_result(console: Console, judgement: Judgement, footer: str, plain: bool = False, simulated: bool = False) -> None:
    """The last screenful on a terminal; the plain lines on a dumb one or where asked."""
    if plain or console.is_dumb_terminal:
        for statement in plain_lines(judgement, footer, simulated):
            console.print(statement, soft_wrap=True)
        return
    height = console.height - 1  # the cursor stands on the last
    for line in result_lines(judgement, footer, console.width, height, console.options.ascii_only, simulated):
        console.print(line, no_wrap=True, crop=True)


def _sizes(judgement: Judgement, width: int, ascii_only: bool) -> list[list[Text]]:
    """The verdict's lines in falling size: full height, half height, one reverse bar each, one bar for all."""
    lines = large_lines(judgement)
    broken = [fitted(line, width) for line in lines]
    sizes: list[list[Text]] = []
    if all(b is not None for b in broken):
        pieces = [word for b in broken if b is not None for word in b]
        makers: list[Callable[[str], list[str]]] = [lambda word: banner(word, ascii_only)]
        if not ascii_only:
            makers.append(lambda word: half_height(banner(word, ascii_only=True)))
        sizes += [[Text(row, style="bold") for word in pieces for row in (*make(word), "")] for make in makers]
    sizes.append([_bar(" ".join(line) if 2 * len(line) < width else line, width) for line in lines])
    return sizes


def _body(judgement: Judgement, footer: str, width: int, ascii_only: bool) -> list[Text]:
    spelled: Callable[[str], str] = in_plain_letters if ascii_only else str
    lines = _labelled("Why", _shortened(spelled(_why(judgement)), width - 5), width)
    if judgement.next_check:
        lines += _labelled("Check next", spelled(judgement.next_check), width)
    for caution in judgement.cautions:
        lines += _labelled("Caution", spelled(caution), width)
    if judgement.verdict == "PASS":
        lines += [Text(line) for line in textwrap.wrap(NO_FIRE_FIRST, width)]
    return [*lines, *(Text(line) for line in textwrap.wrap(spelled(printable(footer)), width))]


def _labelled(label: str, text: str, width: int) -> list[Text]:
    """`label: text` wrapped over the whole width, the label in reverse."""
    wrapped = textwrap.wrap(f"{label}: {printable(text)}", width)
    head, colon, rest = wrapped[0].partition(":")
    return [Text.assemble((head + colon, REVERSE), rest), *(Text(line) for line in wrapped[1:])]


def _why(judgement: Judgement) -> str:
    """The worst fault's line, else the feed's first reason."""
    feed = (judgement.feed.reasons or judgement.reasons or ("",))[0]
    text = judgement.other_faults[0].reason if judgement.other_faults else feed
    return text[:1].upper() + text[1:]


def _shortened(text: str, width: int) -> str:
    return text if len(text) <= width else text[: max(width - 3, 1)].rstrip() + "..."


def _bar(text: str, width: int) -> Text:
    return Text(f" {text} ".center(width)[:width], style=REVERSE)
