"""A judgement on the screen: the verdict big, the reason in one line, what to check next, then the details."""

from __future__ import annotations

import json
from typing import Any

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


def as_json(file: str, judgement: Judgement) -> str:
    """One line of JSON; keys are never renamed. null where there is no number."""
    table: dict[str, Any] = {
        "file": file,
        "verdict": judgement.verdict,
        "reasons": list(judgement.reasons),
        "findings": [
            {
                "check": f.check,
                "result": f.result,
                "measured": f.measured,
                "uncertainty": f.uncertainty,
                "limit": f.limit,
                "unit": f.unit,
                "at_s": f.at_s,
                "phase": f.phase,
                "conformance": f.conformance,
                "reason": f.reason,
            }
            for f in judgement.findings
        ],
        "dropouts": [
            {
                "role": d.role,
                "phase": d.phase,
                "start_s": d.start_s,
                "duration_s": d.duration_s,
                "duration_low_s": d.duration_low_s,
                "duration_high_s": d.duration_high_s,
                "lowest_v": d.lowest_v,
                "counts": d.counts,
            }
            for d in judgement.dropouts
        ],
        "cranks": [
            {
                "start_s": c.start_s,
                "end_s": c.end_s,
                "speed_rpm": c.speed_rpm,
                "speed_uncertainty_rpm": c.speed_uncertainty_rpm,
            }
            for c in judgement.cranks
        ],
        "assumptions": list(judgement.assumptions),
        "not_measured": list(judgement.not_measured),
        "likely_causes": [
            {"cause": c.cause, "confidence": c.confidence, "evidence": c.evidence, "next_check": c.next_check}
            for c in judgement.likely_causes
        ],
        "phases": [{"name": p.name, "start_s": p.start_s, "end_s": p.end_s} for p in judgement.phases],
    }
    return json.dumps(_plain(table), ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    """Numbers of numpy as Python's, and what is not finite as null."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    number = float(value)
    return number if number == number and abs(number) != float("inf") else None
