"""What a picture of a start shows, as data: `svg.py` draws it for the page, `plots.py` with matplotlib for PNG and PDF.

Readable in grey and for the colour-blind, by dash pattern and label, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from firstcrank.model.judgement import Dropout, Judgement
from firstcrank.report.summary import losses
from firstcrank.role_properties import PROPERTIES
from firstcrank.trace import FloatArray, Trace
from firstcrank.units import format_duration

PIXELS = 1500  # most groups of bins that one line is drawn from
PHASE_NAMES = {"key off": "off", "key on": "KEY ON", "crank": "START", "after": "KEY ON"}
BORDERS = ("key on", "key turn", "crank", "after")
HEADROOM = 1.12  # of the highest reading, for the names of the phases


@dataclass(frozen=True, slots=True)
class Style:
    """A lead's line: colour, dash pattern (on, off, ... in line widths; empty for a solid line), and its name in the legend."""

    colour: str
    dashes: tuple[float, ...]
    label: str


STYLES = {role: Style(own.colour, own.dashes, own.legend) for role, own in PROPERTIES.items()}


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
    """One picture of volts over seconds. `captions` stand at the top at their time, `bands` are hatched, `level` is a named line."""

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


def overview(trace: Trace, judgement: Judgement) -> Drawing:
    """All leads over the whole recording, phases named on top, losses that count hatched."""
    from_s, to_s = float(trace.start_s[0]), float(trace.end_s[-1])
    curves = _curves(trace, from_s, to_s)
    low, high = _span(curve.volts for curve in curves)
    named = ((p, PHASE_NAMES.get(p.name)) for p in judgement.phases)
    return Drawing(
        7.2,
        2.6,
        "",
        curves,
        (from_s, to_s),
        (low, high * HEADROOM),
        borders_s=tuple(p.start_s for p in judgement.phases if p.name in BORDERS),
        captions=tuple(((p.start_s + p.end_s) / 2, name) for p, name in named if name and p.end_s - p.start_s > 0.05 * to_s),
        bands_s=tuple((drop.start_s, drop.end_s) for drop in losses(judgement)),
        legend=True,
    )


def close_up(trace: Trace, drop: Dropout, minimum_v: float) -> Drawing:
    """One dropout with some time on both sides; from the raw conversions where the board sent them."""
    margin_s = min(max(drop.duration_s * 0.6, 0.004), 1.0)
    from_s = max(drop.start_s - margin_s, float(trace.start_s[0]))
    to_s = min(drop.start_s + drop.duration_s + margin_s, float(trace.end_s[-1]))
    curves = [*_curves(trace, from_s, to_s), *_raw(trace, from_s, to_s)]
    low, high = _span((*(curve.volts for curve in curves), np.array([minimum_v])))
    return Drawing(
        7.2,
        2.0,
        f"{format_duration(drop.duration_s)} at {drop.start_s:.3f} s, down to {drop.lowest_v:.2f} V",
        tuple(curves),
        (from_s, to_s),
        (low, high),
        level=(minimum_v, "module minimum"),
    )


def _curves(trace: Trace, from_s: float, to_s: float) -> tuple[Curve, ...]:
    return tuple(Curve(*thinned(trace, role, from_s, to_s), STYLES[role], STYLES[role].label, 1.1) for role in trace.channels)


def _raw(trace: Trace, from_s: float, to_s: float) -> list[Curve]:
    solid = Style(STYLES["key_switch"].colour, (), "")
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
