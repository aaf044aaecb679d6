"""A judgement on the screen: the verdict big, the reason, what to check next, the picture, then the details."""

from __future__ import annotations

from rich.align import Align
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from firstcrank.analysis.findings import Judgement
from firstcrank.cli.banner import banner
from firstcrank.cli.strip import strip
from firstcrank.trace import Trace

STYLE = {"PASS": "bold green", "FAIL": "bold red", "NO VERDICT": "bold yellow"}
SIGN = {"pass": "ok", "fail": "FAIL", "warn": "warn", "no verdict": "?", "not measured": "-"}
WORST_FIRST = ("fail", "no verdict", "warn", "pass")
MOST_REASONS = 3


def show(console: Console, judgement: Judgement, trace: Trace | None, title: str = "", details: bool = True) -> None:
    """Everything a technician wants to see, the important first. Reads the same without colour."""
    style = STYLE[judgement.verdict]
    letters = banner(judgement.verdict, console.options.ascii_only)
    head: list[RenderableType] = [Text(f"Key feed: {judgement.verdict}", style=style, justify="center")]
    if len(letters[0]) + 4 <= console.width:
        head += ["", Align.center(Text("\n".join(letters), style=style, no_wrap=True))]
    console.print(Panel(Group(*head), title=Text(title) if title else None, border_style=style, padding=(0, 1)))
    _why(console, judgement, details)
    if trace is not None and len(trace) and "battery" in trace.channels and judgement.phases:
        console.print()
        for line in strip(trace, judgement, console.width, console.options.ascii_only):
            console.print(Text(line, style="red" if line.startswith("feed lost") else ""), soft_wrap=True)
    if details:
        _details(console, judgement)
    _listed(console, "Not measured", judgement.not_measured)
    _listed(console, "Taken as given", judgement.assumptions)
    if trace is not None and details:
        _listed(console, "About the recording", trace.notes)


def _why(console: Console, judgement: Judgement, details: bool) -> None:
    """Reasons, likely cause and next check, each beside its label, so that a wrapped line stays under its text."""
    lines: list[tuple[str, str]] = [("Why", reason) for reason in judgement.reasons[:MOST_REASONS]]
    more = len(judgement.reasons) - MOST_REASONS
    if more > 0:
        lines.append(("Why", f"and {more} more{', see below' if details else ''}"))
    if judgement.likely_causes:
        lines.append(("Probably", judgement.likely_causes[0].evidence))
    if judgement.next_check:
        lines.append(("Check next", judgement.next_check))
    table = Table.grid(padding=(0, 2))
    table.add_column(width=10, no_wrap=True)
    table.add_column()
    before = ""
    for label, text in lines:
        first = label != before
        if first and before:
            table.add_row("", "")
        table.add_row(Text(label if first else "", style="bold"), Text(_sentence(text)))
        before = label
    console.print(table)


def _details(console: Console, judgement: Judgement) -> None:
    shown = [f for f in judgement.findings if f.result != "not measured"]
    if not shown:
        return
    shown.sort(key=lambda f: WORST_FIRST.index(f.result))
    table = Table.grid(padding=(0, 2))
    table.add_column(width=4, no_wrap=True)
    table.add_column()
    for finding in shown:
        style = {"fail": "red", "warn": "yellow", "no verdict": "yellow"}.get(finding.result, "")
        table.add_row(Text(SIGN[finding.result], style=style), Text(_sentence(finding.reason)))
    console.print()
    console.print(Text("What was checked", style="bold"))
    console.print(table)


def _listed(console: Console, heading: str, lines: tuple[str, ...]) -> None:
    if not lines:
        return
    table = Table.grid(padding=(0, 1))
    table.add_column(width=3)
    table.add_column()
    for line in lines:
        table.add_row("  -", Text(_sentence(line)))
    console.print()
    console.print(Text(heading, style="bold"))
    console.print(table)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
