"""What a visit shows, as lines of a given width and height: the large word, its line, timers, readings, keys. Pure."""

from __future__ import annotations

import textwrap

from rich.text import Text

from firstcrank.cli.banner import LETTERS, banner, fitted
from firstcrank.visit.values import Show, Word

REVERSE = "bold reverse"
DANGER = (Word.LET_GO, Word.SHUT_AIR, Word.KEY_OFF)


def draw(
    show: Show, readings: tuple[str, ...], width: int, height: int, ascii_only: bool = False, mark: str = ""
) -> list[Text]:
    """At most `height` lines of at most `width`: what does not fit is left out from below, the word and its line never."""
    body: list[Text] = []
    for number, line in enumerate((show.line, *show.lines)):
        style = REVERSE if number == 0 and show.warning else ("bold" if number == 0 else "")
        body += [Text(part, style=style) for part in textwrap.wrap(line, width)]
    timer = timer_line(show)
    if timer:
        body.insert(0, Text(timer, style="bold"))
    keys = "   ".join(f"[{key}] {what}" for key, what in show.keys)
    below = [Text(line[:width]) for line in readings] + [Text(part) for part in textwrap.wrap(keys, width)]
    head = [Text(f" {mark} ".center(width)[:width], style=REVERSE)] if mark else []
    head += _word(show, width, height - len(body) - len(below) - len(head) - 1, ascii_only)
    return [*head, *body, *below][: max(height, 1)]


def timer_line(show: Show) -> str:
    """The timers in words; empty where none runs."""
    parts = []
    if show.count_s is not None:
        parts.append(f"{show.count_s:.1f} s")
    if show.countdown_s is not None:
        parts.append(f"{show.countdown_s:.0f} s left")
    return "   ".join(parts)


def _word(show: Show, width: int, room: int, ascii_only: bool) -> list[Text]:
    """The word in large letters where there is room, else a bar; what means danger in reverse video."""
    style = REVERSE if show.word in DANGER else "bold"
    lines = fitted(show.word, width) if all(letter in LETTERS for letter in show.word) else None
    if lines is None or room < 6 * len(lines):
        return [Text(f" {' '.join(show.word)} ".center(width)[:width], style=REVERSE)]
    rows = [row for line in lines for row in (*banner(line, ascii_only), "")]
    return [Text(row.ljust(max(map(len, rows))) if row else "", style=style if row else "") for row in rows]
