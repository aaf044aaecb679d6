"""Plots of a start with matplotlib: readable in grey and for the colour-blind, by line style and label, not by colour."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from firstcrank.analysis.compare import Comparison
from firstcrank.model.judgement import Dropout, Judgement
from firstcrank.report.summary import losses
from firstcrank.trace import FloatArray, Trace
from firstcrank.units import text_s

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Dark to light in grey and apart in every common colour blindness: Okabe and Ito's palette, by order of lightness.
STYLES: dict[str, tuple[str, Any, str]] = {
    "battery": ("#000000", "-", "battery"),
    "key_switch": ("#0072B2", (0, (6, 1)), "key feed"),
    "starter_coil": ("#D55E00", ":", "starter coil"),
    "feed_source": ("#555555", (0, (1, 1)), "feed source"),
    "heater_coil": ("#CC79A7", "-.", "heater +"),
    "heater_return": ("#CC79A7", (0, (1, 2)), "heater -"),
    "module_supply": ("#009E73", (0, (8, 2, 1, 2)), "module supply"),
    "module_ground": ("#56B4E9", (0, (3, 3)), "module ground"),
    "engine_ground": ("#E69F00", (0, (2, 4)), "engine ground"),
}
PIXELS = 1500
PHASE_NAMES = {"key off": "off", "key on": "RUN", "crank": "START", "after": "RUN"}


def _figure(width_in: float, height_in: float, rows: int = 1, **options: Any) -> tuple[Figure, Any]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.subplots(rows, 1, **options)


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


def _draw(axes: Axes, trace: Trace, from_s: float, to_s: float) -> None:
    for role in trace.channels:
        colour, dashes, label = STYLES[role]
        times, volts = thinned(trace, role, from_s, to_s)
        axes.plot(times, volts, color=colour, linestyle=dashes, linewidth=1.1, label=label)
    axes.set_ylabel("V")
    axes.grid(True, color="#dddddd", linewidth=0.6)
    axes.set_xlim(from_s, to_s)
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))


def overview(trace: Trace, judgement: Judgement) -> Figure:
    """All leads over the whole recording, phases named on top, counting dropouts marked."""
    figure, axes = _figure(7.2, 2.6)
    _draw(axes, trace, float(trace.start_s[0]), float(trace.end_s[-1]))
    top = axes.get_ylim()[1] * 1.12
    axes.set_ylim(top=top)
    for phase in judgement.phases:
        if phase.name in ("key on", "key turn", "crank", "after"):
            axes.axvline(phase.start_s, color="#888888", linewidth=0.8)
        name = PHASE_NAMES.get(phase.name)
        if name and phase.end_s - phase.start_s > 0.05 * float(trace.end_s[-1]):
            axes.text((phase.start_s + phase.end_s) / 2, top * 0.985, name, ha="center", va="top", fontsize=8)
    for drop in losses(judgement):
        axes.axvspan(drop.start_s, drop.end_s, facecolor="none", edgecolor="#777777", hatch="///", linewidth=0)
    axes.set_xlabel("seconds")
    axes.legend(loc="lower center", ncols=min(len(trace.channels), 5), fontsize=8, frameon=False, bbox_to_anchor=(0.5, 1.0))
    return figure


def close_up(trace: Trace, drop: Dropout, minimum_v: float) -> Figure:
    """One dropout with some time on both sides; from the raw conversions where the board sent them."""
    figure, axes = _figure(7.2, 2.0)
    margin_s = min(max(drop.duration_s * 0.6, 0.004), 1.0)
    from_s, to_s = drop.start_s - margin_s, drop.start_s + drop.duration_s + margin_s
    _draw(axes, trace, max(from_s, float(trace.start_s[0])), min(to_s, float(trace.end_s[-1])))
    for piece in trace.close_ups:
        volts = piece.volts.get("key_switch")
        if volts is not None and from_s <= piece.edge_s <= to_s:
            times = piece.start_s + piece.offset_s["key_switch"] + np.arange(len(volts)) * piece.period_s
            axes.plot(times, volts, color="#0072B2", linewidth=0.7)
    axes.axhline(minimum_v, color="#000000", linewidth=0.8, linestyle=(0, (4, 4)))
    axes.text(axes.get_xlim()[0], minimum_v, " module minimum", fontsize=7, va="bottom")
    axes.set_xlabel("seconds")
    axes.set_title(f"{text_s(drop.duration_s)} at {drop.start_s:.3f} s, down to {drop.lowest_v:.2f} V", fontsize=9, loc="left")
    return figure


def comparison(compared: Comparison, names: tuple[str, str]) -> Figure:
    """Before above after, and below them the difference; all from starter engagement."""
    figure, rows = _figure(7.2, 5.4, 3, sharex=True)
    for axes, side, name in ((rows[0], compared.before_v, names[0]), (rows[1], compared.after_v, names[1])):
        for role, volts in side.items():
            colour, dashes, label = STYLES[role]
            axes.plot(compared.at_s, volts, color=colour, linestyle=dashes, linewidth=1.0, label=label)
        axes.set_title(name, fontsize=9, loc="left")
    for role in compared.before_v:
        colour, dashes, label = STYLES[role]
        rows[2].plot(compared.at_s, compared.difference_v(role), color=colour, linestyle=dashes, linewidth=1.0, label=label)
    rows[2].set_title("difference: second minus first", fontsize=9, loc="left")
    rows[2].set_xlabel("seconds from the starter engaging")
    for axes in rows:
        axes.set_ylabel("V")
        axes.grid(True, color="#dddddd", linewidth=0.6)
        axes.axvline(0.0, color="#888888", linewidth=0.8)
    rows[0].legend(loc="upper right", fontsize=7, frameon=False)
    return figure


def as_svg(figure: Figure) -> str:
    """SVG text to stand inside a page, its size left to the page."""
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None})
    svg = buffer.getvalue()
    return svg[svg.index("<svg") :]


def as_png(figure: Figure, dots_per_inch: int = 150) -> bytes:
    """PNG bytes."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dots_per_inch)
    return buffer.getvalue()
