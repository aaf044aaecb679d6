"""A judgement on the screen: the verdict big, the reason in one line, what to check next, then the details."""

from __future__ import annotations

from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from firstcrank.analysis.findings import Judgement
from firstcrank.cli.strip import strip
from firstcrank.trace import Trace

STYLE = {"PASS": "bold green", "FAIL": "bold red", "NO VERDICT": "bold yellow"}
SIGN = {"pass": "ok", "fail": "FAIL", "warn": "warn", "no verdict": "?", "not measured": "-"}
MOST_REASONS = 3


def show(console: Console, judgement: Judgement, trace: Trace | None, title: str = "", details: bool = True) -> None:
    """Everything a technician wants to see, the important first. Reads the same without colour."""
    style = STYLE[judgement.verdict]
    head = Text(f"Key feed: {judgement.verdict}", style=style, justify="center")
    console.print(Panel(head, title=title or None, border_style=style, padding=(1, 2)))
    for i, reason in enumerate(judgement.reasons[:MOST_REASONS]):
        console.print(Text(("Why: " if i == 0 else "     ") + _sentence(reason), style="bold" if i == 0 else ""))
    if len(judgement.reasons) > MOST_REASONS:
        console.print(Text(f"     and {len(judgement.reasons) - MOST_REASONS} more below"))
    if judgement.likely_causes:
        likely = judgement.likely_causes[0]
        console.print(Text("Probably: ", style="bold") + Text(likely.evidence))
    if judgement.next_check:
        console.print(Text("Check next: ", style="bold") + Text(judgement.next_check))
    if trace is not None and len(trace) and "battery" in trace.channels and judgement.phases:
        console.print()
        for line in strip(trace, judgement, console.width):
            console.print(Text(line), no_wrap=True, overflow="crop", soft_wrap=True)
    if details:
        _details(console, judgement)
    _not_measured(console, judgement)
    if trace is not None:
        for note in trace.notes:
            console.print(Text(f"Note: {note}"), style="dim")


def _details(console: Console, judgement: Judgement) -> None:
    shown = [f for f in judgement.findings if f.result != "not measured"]
    if not shown:
        return
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(width=4)
    table.add_column()
    for finding in shown:
        style = {"fail": "red", "warn": "yellow", "no verdict": "yellow"}.get(finding.result, "")
        table.add_row(Text(SIGN[finding.result], style=style), Text(_sentence(finding.reason)))
    console.print()
    console.print(table)


def _not_measured(console: Console, judgement: Judgement) -> None:
    for heading, lines in (("Not measured", judgement.not_measured), ("Taken as given", judgement.assumptions)):
        if lines:
            console.print()
            console.print(Text(heading + ":", style="bold"))
            for line in lines:
                console.print(Text(f"  - {line}"))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
