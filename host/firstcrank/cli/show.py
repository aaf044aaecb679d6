"""A judgement on the screen: the verdict big, the reason, what to check next, the picture, then the details."""

from __future__ import annotations

from rich.align import Align
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from firstcrank.cli.banner import banner
from firstcrank.cli.strip import strip
from firstcrank.model.judgement import Judgement
from firstcrank.trace import Trace

STYLE = {"PASS": "bold green", "FAIL": "bold red", "NO VERDICT": "bold yellow"}
SIGN = {"pass": "ok", "fail": "FAIL", "warn": "warn", "no verdict": "?", "not measured": "-"}
WORST_FIRST = ("fail", "no verdict", "warn", "pass")
MOST_REASONS = 3
LABEL = 14
PLAIN = {"±": "+/-", "µ": "u", "Ω": "ohm", "°": "deg ", "²": "2", "–": "-", "\u00a0": " "}


def show(console: Console, judgement: Judgement, trace: Trace | None, title: str = "", details: bool = True) -> None:
    """Everything a technician wants to see, the important first. Reads the same without colour."""
    style = STYLE[judgement.verdict]
    letters = banner(judgement.verdict, console.options.ascii_only)
    head: list[RenderableType] = [Text(f"Key feed: {judgement.verdict}", style=style, justify="center")]
    if len(letters[0]) + 4 <= console.width:
        head += ["", Align.center(Text("\n".join(letters), style=style, no_wrap=True))]
    console.print(Panel(Group(*head), title=Text(title) if title else None, border_style=style, padding=(0, 1)))
    _labelled(console, _why(judgement, details))
    if trace is not None and len(trace) and "battery" in trace.channels and judgement.phases:
        console.print()
        for line in strip(trace, judgement, console.width, console.options.ascii_only):
            console.print(Text(line, style="red" if line.startswith("feed lost") else ""), soft_wrap=True)
    if details:
        _details(console, judgement)
    console.print()
    lists = [("Not measured", judgement.not_measured), ("Taken as given", judgement.assumptions)]
    if trace is not None and details:
        lists.append(("Recording", trace.notes))
    _labelled(console, [(label, "; ".join(lines)) for label, lines in lists if lines])


def last_line(console: Console, judgement: Judgement, text: str) -> None:
    """The verdict once more at the bottom, where a small screen ends, and a line under it."""
    console.print()
    console.print(Text(f"Key feed: {judgement.verdict}", style=STYLE[judgement.verdict]))
    console.print(Text(text))


def _why(judgement: Judgement, details: bool) -> list[tuple[str, str]]:
    """Reasons, likely cause and next check, each with its label."""
    lines = [("Why", reason) for reason in judgement.reasons[:MOST_REASONS]]
    more = len(judgement.reasons) - MOST_REASONS
    if more > 0:
        lines.append(("Why", f"and {more} more{', see below' if details else ''}"))
    if judgement.likely_causes:
        lines.append(("Probably", judgement.likely_causes[0].evidence))
    if judgement.next_check:
        lines.append(("Check next", judgement.next_check))
    return lines


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
    shown = [f for f in judgement.findings if f.result != "not measured"]
    if not shown:
        return
    shown.sort(key=lambda f: WORST_FIRST.index(f.result))
    table = Table.grid(padding=(0, 2))
    table.add_column(width=4, no_wrap=True)
    table.add_column()
    for finding in shown:
        style = {"fail": "red", "warn": "yellow", "no verdict": "yellow"}.get(finding.result, "")
        table.add_row(Text(SIGN[finding.result], style=style), Text(_sentence(console, finding.reason)))
    console.print()
    console.print(Text("What was checked", style="bold"))
    console.print(table)


def _sentence(console: Console, text: str) -> str:
    """A line with its first letter large, in plain letters where the screen has no others."""
    if console.options.ascii_only:
        for sign, plain in PLAIN.items():
            text = text.replace(sign, plain)
        text = text.encode("ascii", "replace").decode("ascii")
    return text[:1].upper() + text[1:]
