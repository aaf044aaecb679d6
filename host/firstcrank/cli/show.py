"""A judgement on the screen: the verdict big, the reason, what to check next, the picture, then the details."""

from __future__ import annotations

from rich.align import Align
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from firstcrank.cli.banner import banner, fitted, half_height
from firstcrank.cli.plain_letters import in_plain_letters
from firstcrank.cli.strip import strip
from firstcrank.model.fault_order import DO_NOT_CRANK
from firstcrank.model.judgement import Finding, Judgement
from firstcrank.printable import printable
from firstcrank.report.summary import cause_label, large_lines, one_line, rows
from firstcrank.trace import Trace
from firstcrank.units import sentence

STYLE = {"PASS": "bold green", "FAIL": "bold red", "NO VERDICT": "bold"}  # no yellow: it can't be seen on white
HEAD_STYLE = {**STYLE, "NO VERDICT": "bold reverse"}
SIGN = {"pass": "ok", "fail": "FAIL", "warn": "warn", "no verdict": "?", "not measured": "-"}
MOST_REASONS = 3
LABEL = 14


def show(console: Console, judgement: Judgement, trace: Trace | None, title: str = "", details: bool = True) -> None:
    """Everything a technician wants to see, the important first. Reads the same without colour.

    Coloured by the overall verdict: a feed that passes beside another fault is never green.
    """
    style = STYLE[judgement.verdict]
    head: list[RenderableType] = [Text(one_line(judgement), style=HEAD_STYLE[judgement.verdict], justify="center")]
    for block in _large(judgement, console.width - 4, console.options.ascii_only):
        head += ["", Align.center(Text("\n".join(block), style=style, no_wrap=True))]
    console.print(Panel(Group(*head), title=Text(printable(title)) if title else None, border_style=style, padding=(0, 1)))
    _labelled(console, _why(judgement, details))
    if trace is not None and len(trace) and "battery" in trace.channels and judgement.phases:
        console.print()
        for line in strip(trace, judgement, console.width, console.options.ascii_only):
            console.print(Text(line, style="red" if line.startswith("feed lost") else ""), soft_wrap=True)
    if details:
        _details(console, judgement)
    console.print()
    lists = [("Not measured", judgement.not_measured), ("Assumptions", judgement.assumptions)]
    if trace is not None and details:
        lists.append(("Recording", trace.notes))
    _labelled(console, [(label, "; ".join(lines)) for label, lines in lists if lines])


def _large(judgement: Judgement, width: int, ascii_only: bool) -> list[list[str]]:
    """The large letters, a block a line, all of one size; none where the screen is too narrow for one of them."""
    lines = large_lines(judgement)
    broken = [fitted(line, width) for line in lines]
    if any(b is None for b in broken):
        return []
    pieces = [word for b in broken if b is not None for word in b]
    if ascii_only or len(pieces) == 1:
        return [banner(word, ascii_only) for word in pieces]
    return [half_height(banner(word, ascii_only=True)) for word in pieces]


def last_line(console: Console, judgement: Judgement, text: str) -> None:
    """The verdict once more at the bottom, where a small screen ends, and a line under it."""
    console.print()
    console.print(Text(one_line(judgement), style=HEAD_STYLE[judgement.verdict]))
    console.print(Text(printable(text)))


def _why(judgement: Judgement, details: bool) -> list[tuple[str, str]]:
    """Other faults, reasons of the feed's verdict, what was tolerated, likely cause and next check, each with its label."""
    below = ", see below" if details else ""
    faults = [f"{_warning(f)}{f.reason}" for f in judgement.other_faults]
    lines = _most("Other fault" if judgement.other_faults else "", faults, below)
    lines += _most("Why" if not judgement.other_faults else "Key feed", list(judgement.feed.reasons), below)
    lines += _most("Tolerated", list(judgement.tolerated), "")
    if judgement.likely_causes:
        lines.append((cause_label(judgement), judgement.likely_causes[0].evidence))
    if judgement.next_check:
        lines.append(("Check next", judgement.next_check))
        lines += [("Caution", caution) for caution in judgement.cautions]
    return lines


def _warning(fault: Finding) -> str:
    return "do not crank again: " if fault.check in DO_NOT_CRANK else ""


def _most(label: str, texts: list[str], below: str) -> list[tuple[str, str]]:
    lines = [(label, text) for text in texts[:MOST_REASONS]]
    more = len(texts) - MOST_REASONS
    return [*lines, (label, f"and {more} more{below}")] if more > 0 else lines


def _labelled(console: Console, lines: list[tuple[str, str]]) -> None:
    """Texts beside their labels, so that a wrapped line stays under its text; one empty line between labels."""
    table = Table.grid(padding=(0, 2))
    table.add_column(width=LABEL, no_wrap=True)
    table.add_column()
    before = ""
    for label, text in lines:
        first = label != before
        if first and before:
            table.add_row("", "")
        table.add_row(Text(label if first else "", style="bold"), Text(_sentence(console, text)))
        before = label
    console.print(table)


def _details(console: Console, judgement: Judgement) -> None:
    shown = rows(judgement)
    if not shown:
        return
    table = Table.grid(padding=(0, 2))
    table.add_column(width=4, no_wrap=True)
    table.add_column()
    for finding in shown:
        style = {"fail": "red", "warn": "bold", "no verdict": "bold"}.get(finding.result, "")
        table.add_row(Text(SIGN[finding.result], style=style), Text(_sentence(console, finding.reason)))
    console.print()
    console.print(Text("What was checked", style="bold"))
    console.print(table)


def _sentence(console: Console, text: str) -> str:
    """A line with its first letter capitalised, without what would steer the screen, in plain letters where it has no others."""
    text = printable(text)
    if console.options.ascii_only:
        text = in_plain_letters(text)
    return sentence(text)
