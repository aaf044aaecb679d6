"""Drawings and comparisons as matplotlib figures, for PNG. Needs the extra `report`."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from firstcrank.analysis.compare import Comparison
from firstcrank.extras import extra_packages
from firstcrank.report.drawing import STYLES, Drawing, Style
from firstcrank.trace import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEGEND_COLUMNS = 5


def empty_figure(width_in: float, height_in: float, rows: int = 1, sharex: bool = False) -> tuple[Figure, list[Axes]]:
    """A figure without a window, and its axes, one of each of its `rows`. Raises MissingExtraError without matplotlib."""
    with extra_packages("report"):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure, list(figure.subplots(rows, 1, sharex=sharex, squeeze=False)[:, 0])


def figure_of(drawing: Drawing) -> Figure:
    """The drawing, as `svg.py` draws it for the page."""
    figure, (axes,) = empty_figure(drawing.width_in, drawing.height_in)
    for curve in drawing.curves:
        _plot(axes, curve.time_s, curve.volts, curve.style, curve.label or "_unnamed", curve.width_pt)
    axes.set_xlim(*drawing.time_s)
    axes.set_ylim(*drawing.volts)
    axes.set_ylabel("V")
    axes.set_xlabel(drawing.time_label)
    axes.grid(True, color="#dddddd", linewidth=0.6)
    for at_s in drawing.borders_s:
        axes.axvline(at_s, color="#888888", linewidth=0.8)
    for at_s, name in drawing.captions:
        axes.text(at_s, drawing.volts[1] * 0.985, name, ha="center", va="top", fontsize=8)
    for from_s, to_s in drawing.bands_s:
        label = drawing.bands_label or None
        axes.axvspan(from_s, to_s, facecolor="none", edgecolor="#777777", hatch="///", linewidth=0, label=label)
    if drawing.level is not None:
        volts, name = drawing.level
        axes.axhline(volts, color="#000000", linewidth=0.8, linestyle=(0, (4, 4)))
        axes.text(drawing.time_s[0], volts, f" {name}", fontsize=7, va="bottom")
    if drawing.title:
        axes.set_title(drawing.title, fontsize=9, loc="left")
    if drawing.legend:
        handles = dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))  # each name once
        columns = min(len(handles), LEGEND_COLUMNS)
        axes.legend(
            handles.values(),
            handles.keys(),
            loc="lower center",
            ncols=columns,
            fontsize=8,
            frameon=False,
            bbox_to_anchor=(0.5, 1.0),
        )
    return figure


def comparison(compared: Comparison, names: tuple[str, str]) -> Figure:
    """Before above after, and below them the difference; all from starter engagement."""
    figure, rows = empty_figure(7.2, 5.4, 3, sharex=True)
    for axes, side, name in ((rows[0], compared.before_v, names[0]), (rows[1], compared.after_v, names[1])):
        for role, volts in side.items():
            _plot(axes, compared.at_s, volts, STYLES[role], STYLES[role].label, 1.0)
        axes.set_title(name, fontsize=9, loc="left")
    for role in compared.before_v:
        _plot(rows[2], compared.at_s, compared.difference_v(role), STYLES[role], STYLES[role].label, 1.0)
    rows[2].set_title("difference: second minus first", fontsize=9, loc="left")
    rows[2].set_xlabel("seconds from the starter engaging")
    for axes in rows:
        axes.set_ylabel("V")
        axes.grid(True, color="#dddddd", linewidth=0.6)
        axes.axvline(0.0, color="#888888", linewidth=0.8)
    rows[0].legend(loc="upper right", fontsize=7, frameon=False)
    return figure


def _plot(axes: Axes, time_s: FloatArray, volts: FloatArray, style: Style, label: str, width_pt: float) -> None:
    dashes = (0, style.dashes) if style.dashes else "-"
    axes.plot(time_s, volts, color=style.colour, linestyle=dashes, linewidth=width_pt, label=label)


def as_png(figure: Figure, dots_per_inch: int = 150) -> bytes:
    """PNG bytes."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dots_per_inch)
    return buffer.getvalue()
