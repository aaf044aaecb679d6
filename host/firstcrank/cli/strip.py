"""A trace drawn in the terminal: one row of blocks a lead, the lowest reading of each column, dropouts marked below."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.findings import Judgement
from firstcrank.trace import FloatArray, Trace

BLOCKS = " ▁▂▃▄▅▆▇█"
LEVELS = len(BLOCKS) - 1


def row(volts: FloatArray, top_v: float) -> str:
    """One character a value: empty at 0 V, full at `top_v`."""
    level = np.clip(np.ceil(np.clip(volts, 0.0, None) / top_v * LEVELS - 0.25), 0, LEVELS).astype(int)
    return "".join(BLOCKS[i] for i in level)


def columns(trace: Trace, role: str, edges_s: FloatArray) -> FloatArray:
    """Lowest reading of a lead between each pair of edges, shape (len(edges_s) - 1,); the column before where empty."""
    lowest = trace.channels[role].lowest_v
    first = np.searchsorted(trace.end_s, edges_s[:-1], side="right")
    past = np.searchsorted(trace.start_s, edges_s[1:], side="left")
    values = [
        float(lowest[a:b].min()) if b > a else float(lowest[min(a, len(lowest) - 1)]) for a, b in zip(first, past, strict=True)
    ]
    return np.asarray(values)


def strip(trace: Trace, judgement: Judgement, width: int) -> list[str]:
    """Lines of a strip of the whole recording: a row per lead, a row of marks, a row of phases."""
    label = 13
    count = max(width - label - 8, 20)
    edges_s = np.linspace(float(trace.start_s[0]), float(trace.end_s[-1]), count + 1)
    top_v = 14.0 if float(np.median(trace.channels["battery"].mean_v)) < 17.0 else 28.0
    lines = []
    for role, channel in trace.channels.items():
        low_v = float(channel.lowest_v.min())
        lines.append(f"{role.replace('_', ' '):<{label}}{row(columns(trace, role, edges_s), top_v)} {low_v:5.1f} V")
    marks = [" "] * count
    for drop in judgement.dropouts:
        if drop.counts:
            first = int(np.searchsorted(edges_s, drop.start_s, side="right")) - 1
            past = int(np.searchsorted(edges_s, drop.start_s + drop.duration_s, side="left"))
            for i in range(max(first, 0), min(max(past, first + 1), count)):
                marks[i] = "▲"
    if "▲" in marks:
        lines.append(f"{'feed lost':<{label}}{''.join(marks)}")
    lines.append(f"{'':<{label}}{_phases(judgement, edges_s, count)}")
    return lines


def _phases(judgement: Judgement, edges_s: FloatArray, count: int) -> str:
    """Phase borders as ticks with their names where they fit."""
    text = [" "] * count
    names = {"key off": "off", "key on": "RUN", "crank": "START: cranking", "after": "RUN"}
    for phase in judgement.phases:
        first = int(np.searchsorted(edges_s, phase.start_s, side="right")) - 1
        past = int(np.searchsorted(edges_s, phase.end_s, side="left"))
        said = names.get(phase.name, "")
        if said and past - first > len(said) + 1:
            text[first : first + len(said) + 1] = list("│" + said)
        elif said and past - first > 1:
            text[max(first, 0)] = "│"
    return "".join(text[:count])
