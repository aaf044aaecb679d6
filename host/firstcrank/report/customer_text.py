"""The judge's lines as they stand on a customer's page: without options and commands of the program, which are the technician's."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from firstcrank.report.document import Annex, Box, Bullets, Figure, Heading, Paragraph, Part, Rows

# In this order. What a line asks of the technician is kept where it says something without the option.
CHANGES = (
    (re.compile(r"use --system (\d+)"), r"it is to be judged as a \1 V vehicle"),
    (re.compile(r"check --system,"), "check the system voltage,"),
    (re.compile(r",? then judge this recording with --calibration"), ", then judge this recording again"),
    (re.compile(r"Use --calibration, or calibrate the board"), "The board is to be calibrated"),
    (re.compile(r"\(--[a-z-]+, "), "("),
    (re.compile(r" ?\([^()]*(?:--[a-z]|firstcrank [a-z])[^()]*\)"), ""),
    (re.compile(r"(?:; |: )?firstcrank [a-z]+(?: [a-z-]+)*(?: --[a-z-]+(?: \S+)?)*"), ""),
    (re.compile(r" ?--[a-z][a-z-]*(?:[ =]\w+)?"), ""),
)


def without_options(text: str) -> str:
    """`text` without the program's options and commands."""
    for pattern, instead in CHANGES:
        text = pattern.sub(instead, text)
    return text


def for_customer(part: Part) -> Part:
    """A part with every line of the judge in it so changed."""
    match part:
        case Box():
            return replace(part, label=part.label, text=without_options(part.text))
        case Heading() | Paragraph() | Annex():
            return replace(part, text=without_options(part.text))
        case Bullets():
            return replace(part, lines=_each(part.lines, without_options))
        case Rows():
            return replace(part, rows=tuple(_each(row, without_options) for row in part.rows))
        case Figure():
            return replace(part, drawing=replace(part.drawing, title=without_options(part.drawing.title)))
        case _:
            return part


def _each(lines: tuple[str, ...], change: Callable[[str], str]) -> tuple[str, ...]:
    return tuple(change(line) for line in lines)
