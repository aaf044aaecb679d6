"""Trends as lines of text and as a figure."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from firstcrank.jobs.trends import Spread, Trends
from firstcrank.report.plots import empty_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def as_lines(found: Trends) -> list[str]:
    """Plain lines."""
    total = sum(found.verdicts.values())
    lines = [f"{total} starts: {_counts(found.verdicts)}", f"  of these the key feed alone: {_counts(found.feed_verdicts)}"]
    lines += [f"  FAIL by cause  {cause:<26}{count}" for cause, count in found.causes.items()]
    for name, spread, unit in (("feed drop while cranking", found.feed_drop_v, "V"), ("crank speed", found.speed_rpm, "rpm")):
        lines.append(_spread_line(name, spread, unit))
    for board, points in found.drift.items():
        first, last = points[0], points[-1]
        change = (last[1] / first[1] - 1.0) * 100.0
        lines.append(
            f"  board {board}: calibration of the battery input {change:+.2f} % from {first[0][:10]} to {last[0][:10]}"
        )
    return lines


def _counts(verdicts: dict[str, int]) -> str:
    return ", ".join(f"{count} {verdict}" for verdict, count in sorted(verdicts.items())) or "none"


def _spread_line(name: str, spread: Spread | None, unit: str) -> str:
    if spread is None:
        return f"  {name}: no values yet"
    middle = f"middle {spread.middle:.3g}, {spread.count} starts"
    return f"  {name}: {spread.low:.3g} to {spread.high:.3g} {unit} (8 of 10 starts), {middle}"


def trend_figure(found: Trends) -> Figure:
    """Four pictures: causes, feed drop, crank speed, calibration drift."""
    figure, axes = empty_figure(8.0, 6.0, 4)
    names = list(found.causes)[::-1]
    axes[0].barh(names, [found.causes[name] for name in names], color="#555555")
    axes[0].set_title("failures by cause", fontsize=9, loc="left")
    for place, values, title in (
        (axes[1], found.feed_drops_v, "feed drop while cranking, V"),
        (axes[2], found.speeds_rpm, "crank speed, rpm"),
    ):
        if values:
            place.hist(values, bins=min(max(len(values) // 3, 5), 40), color="#999999", edgecolor="#000000")
        place.set_title(title, fontsize=9, loc="left")
    for board, points in found.drift.items():
        times = [datetime.fromisoformat(utc) for utc, _ in points if utc]
        gains = [gain / points[0][1] * 100.0 - 100.0 for utc, gain in points if utc]
        axes[3].plot(times, gains, marker="o", markersize=3, label=board[-6:])
    axes[3].set_title("calibration of the battery input, % from the first", fontsize=9, loc="left")
    if found.drift:
        axes[3].legend(fontsize=7, frameon=False)
    return figure
