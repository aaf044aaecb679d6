"""The report as a document: parts of a few kinds, in order. What a report says is decided before a renderer sees it.

`html.py` and `pdf.py` draw each kind and add nothing of their own, so that page and paper cannot differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from firstcrank.report.drawing import Drawing


@dataclass(frozen=True, slots=True)
class Title:
    """Top of the document: what it is, whose it is, and the shop's logo (PNG or JPEG bytes, or empty)."""

    text: str
    shop_name: str = ""
    logo: bytes = b""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Names with their values, two beside each other where there is room."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Box:
    """The verdict: `label` and the large lines, then the key feed's verdict where another fault is larger, then a plain text.

    `verdict` chooses the frame (double, single, dashed), for grey print.
    """

    verdict: str
    label: str
    large: tuple[str, ...]
    part: str
    text: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A section's heading."""

    text: str


@dataclass(frozen=True, slots=True)
class Annex:
    """Heading of what is kept for whoever checks the work: a new page on paper."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A text of its own."""

    text: str
    small: bool = False


@dataclass(frozen=True, slots=True)
class Bullets:
    """Lines with a mark."""

    lines: tuple[str, ...]
    small: bool = False


@dataclass(frozen=True, slots=True)
class Rows:
    """A table. `widths` are shares of the page's width; `heads` one per column; rows numbered in `bold` stand out."""

    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    heads: tuple[str, ...]
    bold: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing over the whole width. `detail`: what the page can zoom into (detail.py), empty where there is no more to see."""

    drawing: Drawing
    detail: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo, PNG or JPEG bytes, with its caption."""

    content: bytes
    caption: str


Part = Title | Pairs | Box | Heading | Annex | Paragraph | Bullets | Rows | Figure | Photo


def texts(part: Part) -> tuple[str, ...]:
    """Every text that a part shows, in order; of a figure its title."""
    match part:
        case Title():
            shown: tuple[str, ...] = (part.text, part.shop_name)
        case Pairs():
            shown = tuple(text for row in part.rows for text in row)
        case Box():
            shown = (part.label, *part.large, part.part, part.text)
        case Heading() | Paragraph() | Annex():
            shown = (part.text,)
        case Bullets():
            shown = part.lines
        case Rows():
            shown = (*part.heads, *(cell for row in part.rows for cell in row))
        case Figure():
            shown = (part.drawing.title,)
        case Photo():
            shown = (part.caption,)
    return tuple(text for text in shown if text)
