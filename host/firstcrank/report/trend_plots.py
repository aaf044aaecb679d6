"""Trends as lines of text and as a figure."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, cast

from firstcrank.jobs.trends import Spread, Trends, spread
from firstcrank.report.plots import empty_figure

MOST_BOARDS = 8  # named: those whose calibration changed most; the others are thin grey lines
MOST_CAUSES = 10

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def as_lines(found: Trends) -> list[str]:
    """Plain lines."""
    total = sum(found.verdicts.values())
    lines = [f"{total} starts: {_counts(found.verdicts)}", f"  of these the key feed alone: {_counts(found.feed_verdicts)}"]
    lines += [f"  FAIL by cause  {cause:<26}{count}" for cause, count in found.causes.items()]
    lines.append(_spread_line("feed drop while cranking", found.feed_drop_v, "V"))
    for system, volts in found.crank_v.items():
        lines.append(_spread_line(_crank_voltage(system), spread(volts), "V"))
    if not found.crank_v:
        lines.append(_spread_line("crank voltage", None, "V"))
    lines.append(_spread_line("crank speed", found.speed_rpm, "rpm"))
    for period in found.periods if len(found.periods) > 1 else ():
        values = [f"{period.feed_drop_v:.2f} V feed drop" if period.feed_drop_v is not None else ""]
        values.append(f"{period.crank_v:.2f} V crank voltage" if period.crank_v is not None else "")
        values.append(f"{period.speed_rpm:.0f} rpm" if period.speed_rpm is not None else "")
        middles = ", ".join(value for value in values if value)
        lines.append(
            f"  {period.name}: {period.starts} starts, {period.failed} FAIL" + (f"; middle {middles}" if middles else "")
        )
    changes = found.changes()
    for board, change in changes[:MOST_BOARDS]:
        points = found.drift[board]
        days = f"from {points[0][0][:10]} to {points[-1][0][:10]}"
        lines.append(f"  board {board}: calibration of the battery input {change:+.2f} % {days}")
    if len(changes) > MOST_BOARDS:
        lines.append(f"  and {len(changes) - MOST_BOARDS} boards that changed less (--board shows one)")
    return lines


def _crank_voltage(system_v: int) -> str:
    return f"crank voltage, {system_v} V system" if system_v else "crank voltage"


def _counts(verdicts: dict[str, int]) -> str:
    return ", ".join(f"{count} {verdict}" for verdict, count in sorted(verdicts.items())) or "none"


def _spread_line(name: str, found: Spread | None, unit: str) -> str:
    if found is None:
        return f"  {name}: no values yet"
    middle = f"middle {found.middle:.3g}, {found.count} starts"
    return f"  {name}: {found.low:.3g} to {found.high:.3g} {unit} (8 of 10 starts), {middle}"


def trend_figure(found: Trends) -> Figure:
    """Starts and failures by period, causes, feed drop, crank voltage, crank speed, calibration drift. Each names what it lacks."""
    figure, (first, *axes) = empty_figure(8.0, 10.5, 6)
    labels = [period.name for period in found.periods]
    first.bar(labels, [p.starts for p in found.periods], color="#bbbbbb", label="starts")
    first.bar(labels, [p.failed for p in found.periods], color="#333333", width=0.5, label="FAIL")
    first.set_title("starts, and those that failed", fontsize=9, loc="left")
    first.tick_params(axis="x", labelrotation=60, labelsize=7)
    names = list(found.causes)[:MOST_CAUSES][::-1]
    axes[0].barh(names, [found.causes[name] for name in names], color="#555555")
    axes[0].set_title("failures by cause", fontsize=9, loc="left")
    for place, values, title in (
        (axes[1], found.feed_drops_v, "feed drop while cranking, V"),
        (axes[2], found.crank_v.get(found.system_v, ()), f"{_crank_voltage(found.system_v)}, V"),
        (axes[3], found.speeds_rpm, "crank speed, rpm"),
    ):
        if values:
            place.hist(values, bins=min(max(len(values) // 3, 5), 40), color="#999999", edgecolor="#000000")
        else:
            place.text(0.5, 0.5, "no values yet", ha="center", va="center", transform=place.transAxes, fontsize=9)
        place.set_title(title, fontsize=9, loc="left")
    named = [board for board, _ in found.changes()[:MOST_BOARDS]]
    for board, points in sorted(found.drift.items(), key=lambda one: one[0] in named):
        times = cast(
            "list[float]", [datetime.fromisoformat(utc) for utc, _ in points if utc]
        )  # matplotlib takes times as they are
        gains = [gain / points[0][1] * 100.0 - 100.0 for utc, gain in points if utc]
        if board in named:
            axes[4].plot(times, gains, marker="o", markersize=3, label=board[-6:])
        else:
            axes[4].plot(times, gains, color="#cccccc", linewidth=0.7)
    axes[4].set_title("calibration of the battery input, % from the first", fontsize=9, loc="left")
    if found.drift:
        axes[4].legend(fontsize=7, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return figure
