"""A trace drawn in the terminal: a band of blocks a lead, the lowest reading of each column, dropouts marked below."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firstcrank.model.judgement import Dropout, Judgement
from firstcrank.report.summary import losses
from firstcrank.thresholds.evidence import EVIDENCE
from firstcrank.trace import FloatArray, Trace
from firstcrank.units import format_duration

BLOCKS = " ▁▂▃▄▅▆▇█"
ASCII_BLOCKS = " _.-~=+*#"
LABEL = 14
TALL = {"battery": 3, "key_switch": 3}  # rows; the other leads get one
PHASE_NAMES = {
    "key off": ("off",),
    "key on": ("KEY ON", "ON"),
    "crank": ("START: cranking", "START", "S"),
    "after": ("KEY ON", "ON"),
}
MOST_FOR_CLOSER = 5  # chatter shows on the whole strip, and a closer look at one of many says little
CLOSER_COLUMNS = 4  # a dropout that fills fewer columns is drawn again, closer


def row(volts: FloatArray, top_v: float, blocks: str = BLOCKS) -> str:
    """One character a value: empty at 0 V, full at `top_v`."""
    return band(volts, top_v, 1, blocks)[0]


def band(volts: FloatArray, top_v: float, height: int, blocks: str = BLOCKS) -> list[str]:
    """`height` lines, the top one first; a value fills them from below, empty at 0 V, full at `top_v`."""
    steps = len(blocks) - 1
    level = np.clip(np.ceil(np.clip(volts, 0.0, None) / top_v * steps * height - 0.25), 0, steps * height).astype(int)
    return ["".join(blocks[int(n)] for n in np.clip(level - below * steps, 0, steps)) for below in reversed(range(height))]


def columns(trace: Trace, role: str, edges_s: FloatArray) -> FloatArray:
    """Lowest reading of a lead between each pair of edges, shape (len(edges_s) - 1,); the bin at hand where none begins."""
    lowest = trace.channels[role].lowest_v
    first = np.searchsorted(trace.end_s, edges_s[:-1], side="right")
    past = np.searchsorted(trace.start_s, edges_s[1:], side="left")
    values = [
        float(lowest[a:b].min()) if b > a else float(lowest[min(a, len(lowest) - 1)]) for a, b in zip(first, past, strict=True)
    ]
    return np.asarray(values)


def strip(trace: Trace, judgement: Judgement, width: int, ascii_only: bool = False) -> list[str]:
    """Lines at most `width` long: the whole recording, and the worst short dropout once more, closer."""
    blocks = ASCII_BLOCKS if ascii_only else BLOCKS
    count = max(width - LABEL - 10, 12)
    edges_s = np.linspace(float(trace.start_s[0]), float(trace.end_s[-1]), count + 1)
    top_v = 14.0 if float(np.median(trace.channels["battery"].mean_v)) < EVIDENCE.system_split_v else 28.0
    cranking = np.zeros(len(trace), dtype=bool)
    for crank in judgement.cranks:
        cranking |= (trace.start_s < crank.end_s) & (trace.end_s > crank.start_s)
    heading = "lowest in START" if cranking.any() else "lowest"
    lines = [f"{heading:>{LABEL + count + 9}}"]
    for role, channel in trace.channels.items():
        low_v = float(channel.lowest_v[cranking].min() if cranking.any() else channel.lowest_v.min())
        rows = band(columns(trace, role, edges_s), top_v, TALL.get(role, 1), blocks)
        for number, text in enumerate(rows):
            last = number == len(rows) - 1
            label = role.replace("_", " ") if last else (f"{top_v:>11.0f} V" if number == 0 and len(rows) > 1 else "")
            lines.append(f"{label:<{LABEL}}{text} {_volts(low_v) if last and role != 'starter_coil' else ''}".rstrip())
    lines += _markers(losses(judgement), edges_s, count, "feed lost", ascii_only)
    lines.append(f"{'':<{LABEL}}{_phases(judgement, edges_s, count, ascii_only)}".rstrip())
    lines.append(_axis(edges_s, count))
    return lines + _closer(trace, judgement, edges_s, count, top_v, ascii_only)


def _volts(volts: float) -> str:
    return f"{round(volts, 1) + 0.0:6.1f} V"


def _markers(drops: Sequence[Dropout], edges_s: FloatArray, count: int, label: str, ascii_only: bool) -> list[str]:
    markers = [" "] * count
    for drop in drops:
        first = int(np.searchsorted(edges_s, drop.start_s, side="right")) - 1
        past = int(np.searchsorted(edges_s, drop.start_s + drop.duration_s, side="left"))
        for i in range(max(first, 0), min(max(past, first + 1), count)):
            markers[i] = "^" if ascii_only else "▲"
    return [f"{label:<{LABEL}}{''.join(markers)}".rstrip()] if any(marker != " " for marker in markers) else []


def _phases(judgement: Judgement, edges_s: FloatArray, count: int, ascii_only: bool) -> str:
    """Phase borders as ticks with their names where they fit."""
    text = [" "] * count
    tick = "|" if ascii_only else "│"
    for phase in judgement.phases:
        first = max(int(np.searchsorted(edges_s, phase.start_s, side="right")) - 1, 0)
        past = int(np.searchsorted(edges_s, phase.end_s, side="left"))
        names = PHASE_NAMES.get(phase.name, ())
        caption = next((name for name in names if past - first > len(name) + 1), names[-1] if names else "")
        if caption and past - first > len(caption) + 1:
            text[first : first + len(caption) + 1] = list(tick + caption)
        elif caption and past - first > 1:
            text[first] = tick
    return "".join(text[:count])


def _axis(edges_s: FloatArray, count: int) -> str:
    span_s = float(edges_s[-1] - edges_s[0])
    left, right = f"{float(edges_s[0]):.4g} s", f"{float(edges_s[-1]):.4g} s"
    if span_s < 1.0:
        left, right = f"{float(edges_s[0]):.4f} s", f"{float(edges_s[-1]):.4f} s"
    return f"{'':<{LABEL}}{left}{right:>{count - len(left)}}"


def _closer(trace: Trace, judgement: Judgement, edges_s: FloatArray, count: int, top_v: float, ascii_only: bool) -> list[str]:
    """The longest dropout that counts, drawn on its own where the whole strip shows it as next to nothing."""
    short_s = CLOSER_COLUMNS * float(edges_s[1] - edges_s[0])
    counted = [d for d in losses(judgement) if d.role in trace.channels]
    if not 0 < len(counted) <= MOST_FOR_CLOSER or max(d.duration_s for d in counted) >= short_s:
        return []
    drop = max(counted, key=lambda d: d.duration_s)
    around_s = max(1.5 * drop.duration_s, 0.005)
    window_s = np.linspace(drop.start_s - around_s, drop.start_s + drop.duration_s + around_s, count + 1)
    rows = band(columns(trace, drop.role, window_s), top_v, 3, ASCII_BLOCKS if ascii_only else BLOCKS)
    others = f", the longest of {len(counted)}" if len(counted) > 1 else ""
    lines = ["", f"The dropout at {drop.start_s:.3f} s, closer ({format_duration(drop.duration_s)}{others}):"]
    for number, text in enumerate(rows):
        last = number == len(rows) - 1
        label = drop.role.replace("_", " ") if last else (f"{top_v:>11.0f} V" if number == 0 else "")
        lines.append(f"{label:<{LABEL}}{text} {_volts(drop.lowest_v) if last else ''}".rstrip())
    return [*lines, *_markers([drop], window_s, count, "feed lost", ascii_only), _axis(window_s, count)]
