"""What a picture of a start shows, as data: `svg.py` draws it for page and paper, `plots.py` with matplotlib as PNG.

Readable in grey and for the colour-blind, by dash pattern and label, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstcrank.model.judgement import Dropout, Interval, Judgement
from firstcrank.report.summary import losses
from firstcrank.role_properties import PROPERTIES
from firstcrank.trace import FloatArray, Trace
from firstcrank.units import format_duration, sentence

PIXELS = 1500  # most groups of bins that one line is drawn from
PHASE_NAMES = {"key off": "off", "key on": "KEY ON", "crank": "START", "after": "KEY ON"}
BORDERS = ("key on", "key turn", "crank", "after")
HEADROOM = 1.12  # of the highest reading, for the names of the phases
ROOM = 0.1  # of the width, for one name
AROUND_S = 2.0  # drawn on both sides of the cranks
SMALL_PART = 0.3  # of a recording: cranks in less of it get a picture of their own
MOST_LISTED = 6  # hatched stretches that the picture's words name


@dataclass(frozen=True, slots=True)
class Style:
    """A lead's line: colour, dash pattern (on, off, ... in line widths; empty for a solid line), and its name in the legend.

    `name` is the lead's role: a page that is shown dark has other colours for each.
    """

    colour: str
    dashes: tuple[float, ...]
    label: str
    name: str = ""


STYLES = {role: Style(own.colour, own.dashes, own.legend, role) for role, own in PROPERTIES.items()}
# Drawn in this order, each narrower than the one below it: of lines that lie on each other both are seen.
BELOW_TO_TOP = ("battery", "feed_source", "module_supply", "starter_coil", "heater_coil", "key_switch")
WIDEST_PT, NARROWEST_PT, STEP_PT = 3.0, 1.0, 0.7


@dataclass(frozen=True, slots=True)
class Curve:
    """One line: seconds and volts of the same length, and how it is drawn. `label` is empty for one without a legend entry."""

    time_s: FloatArray
    volts: FloatArray
    style: Style
    label: str
    width_pt: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """One picture of volts over seconds. `captions` stand at the top at their time, `level` is a named line.

    `bands_s` are hatched, and `bands_label` says in the legend what that means. `alt` is the picture in words.
    """

    width_in: float
    height_in: float
    title: str
    curves: tuple[Curve, ...]
    time_s: tuple[float, float]
    volts: tuple[float, float]
    borders_s: tuple[float, ...] = ()
    captions: tuple[tuple[float, str], ...] = ()
    bands_s: tuple[tuple[float, float], ...] = ()
    level: tuple[float, str] | None = None
    legend: bool = False
    bands_label: str = ""
    time_label: str = "seconds"
    alt: str = ""


def thinned(trace: Trace, role: str, from_s: float, to_s: float) -> tuple[FloatArray, FloatArray]:
    """Times and volts to draw: lowest and highest of groups of bins in turn, so that no dip is lost however narrow."""
    channel = trace.channels[role]
    first, past = (int(np.searchsorted(trace.start_s, s)) for s in (from_s, to_s))
    past = max(past, first + 1)
    group = max((past - first) // PIXELS, 1)
    count = (past - first) // group
    cut = slice(first, first + count * group)
    low = channel.lowest_v[cut].reshape(count, group).min(axis=1)
    high = channel.highest_v[cut].reshape(count, group).max(axis=1)
    times = trace.mid_s[cut].reshape(count, group).mean(axis=1)
    return np.repeat(times, 2), np.column_stack((high, low)).ravel()


def overview(trace: Trace, judgement: Judgement, from_s: float | None = None, to_s: float | None = None) -> Drawing:
    """All leads over the whole recording, or from `from_s` to `to_s`; phases named on top, losses that count hatched."""
    begin_s, end_s = float(trace.start_s[0]), float(trace.end_s[-1])
    from_s, to_s = begin_s if from_s is None else max(from_s, begin_s), end_s if to_s is None else min(to_s, end_s)
    curves = _curves(trace, from_s, to_s)
    low, high = _span(curve.volts for curve in curves)
    inside = tuple(p for p in judgement.phases if p.start_s < to_s and p.end_s > from_s)
    lost = tuple((d.start_s, d.end_s) for d in losses(judgement) if d.start_s < to_s and d.end_s > from_s)
    drawing = Drawing(
        7.2,
        2.6,
        "",
        curves,
        (from_s, to_s),
        (low, high * HEADROOM),
        borders_s=tuple(p.start_s for p in inside if p.name in BORDERS and p.start_s > from_s),
        captions=_captions(inside, from_s, to_s),
        bands_s=tuple((max(a, from_s), min(b, to_s)) for a, b in lost),
        legend=True,
        bands_label="feed lost" if lost else "",
    )
    return replace(drawing, alt=alt_text(drawing))


def _captions(phases: Sequence[Interval], from_s: float, to_s: float) -> tuple[tuple[float, str], ...]:
    """START is named however short; another phase where its name has room and stands on no START."""
    spans = [(max(p.start_s, from_s), min(p.end_s, to_s), PHASE_NAMES.get(p.name, "")) for p in phases]
    room_s = ROOM * (to_s - from_s)
    starts = [((a + b) / 2, name) for a, b, name in spans if name == "START"]
    others = [((a + b) / 2, name) for a, b, name in spans if name not in ("", "START") and b - a > room_s / 2]
    free = [(at_s, name) for at_s, name in others if all(abs(at_s - s) > room_s for s, _ in starts)]
    return (*starts, *free)


def around_the_cranks(trace: Trace, judgement: Judgement) -> Drawing | None:
    """The cranks alone, where they are too small a part of a long recording to be seen in it; else None."""
    if not judgement.cranks or len(trace) < 2:
        return None
    first_s, last_s = judgement.cranks[0].start_s, judgement.cranks[-1].end_s
    if last_s - first_s + 2 * AROUND_S > SMALL_PART * float(trace.end_s[-1] - trace.start_s[0]):
        return None
    return overview(trace, judgement, first_s - AROUND_S, last_s + AROUND_S)


def close_up(trace: Trace, drop: Dropout, minimum_v: float) -> Drawing:
    """One dropout with some time on both sides; from the raw conversions where the board sent them."""
    margin_s = min(max(drop.duration_s * 0.6, 0.004), 1.0)
    from_s = max(drop.start_s - margin_s, float(trace.start_s[0]))
    to_s = min(drop.start_s + drop.duration_s + margin_s, float(trace.end_s[-1]))
    curves = [*_curves(trace, from_s, to_s), *_raw(trace, from_s, to_s)]
    low, high = _span((*(curve.volts for curve in curves), np.array([minimum_v])))
    drawing = Drawing(
        7.2,
        2.0,
        f"{format_duration(drop.duration_s)} at {drop.start_s:.3f} s, down to {drop.lowest_v:.2f} V",
        tuple(curves),
        (from_s, to_s),
        (low, high),
        level=(minimum_v, "module minimum"),
        bands_s=((drop.start_s, drop.end_s),),
        bands_label="feed lost",
        legend=True,
    )
    return replace(drawing, alt=alt_text(drawing))


def alt_text(drawing: Drawing) -> str:
    """What a picture shows, for whoever cannot see it."""
    from_s, to_s = drawing.time_s
    parts = [f"Volts from {from_s:.2f} to {to_s:.2f} {drawing.time_label}."]
    for curve in drawing.curves:
        known = curve.volts[np.isfinite(curve.volts)]
        if curve.label and len(known):
            parts.append(f"{sentence(curve.label)}: {known.min():.1f} to {known.max():.1f} V.")
    parts += [f"{drawing.bands_label} from {a:.3f} to {b:.3f} s.".capitalize() for a, b in drawing.bands_s[:MOST_LISTED]]
    if len(drawing.bands_s) > MOST_LISTED:
        parts.append(f"{len(drawing.bands_s)} such stretches in all.")
    return " ".join(parts)


def width_pt(place: int) -> float:
    """Of the line drawn as number `place`, from 0."""
    return max(WIDEST_PT - STEP_PT * place, NARROWEST_PT)


def _curves(trace: Trace, from_s: float, to_s: float) -> tuple[Curve, ...]:
    order = [*(r for r in BELOW_TO_TOP if r in trace.channels), *(r for r in trace.channels if r not in BELOW_TO_TOP)]
    return tuple(
        Curve(*thinned(trace, role, from_s, to_s), STYLES[role], STYLES[role].label, width_pt(n))
        for n, role in enumerate(order)
    )


def _raw(trace: Trace, from_s: float, to_s: float) -> list[Curve]:
    solid = Style(STYLES["key_switch"].colour, (), "", "key_switch")
    curves = []
    for piece in trace.close_ups:
        volts = piece.volts.get("key_switch")
        if volts is not None and from_s <= piece.edge_s <= to_s:
            times = piece.start_s + piece.offset_s["key_switch"] + np.arange(len(volts), dtype=np.float64) * piece.period_s
            curves.append(Curve(times, volts, solid, "", 0.7))
    return curves


def _span(all_volts: Iterable[FloatArray]) -> tuple[float, float]:
    """Lowest and highest with a margin, zero always inside: a drop is read against the whole voltage."""
    known = [volts[np.isfinite(volts)] for volts in all_volts]
    filled = [volts for volts in known if len(volts)]
    if not filled:
        return 0.0, 1.0
    low, high = min(float(v.min()) for v in filled), max(float(v.max()) for v in filled)
    margin = 0.05 * max(high - low, 0.1)
    return min(0.0, low - margin), high + margin
