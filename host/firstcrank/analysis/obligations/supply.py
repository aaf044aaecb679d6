"""The supply behind the feed: does it take a good feed below the module's minimum, for longer than the module rides through?"""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.feed import expanded_of_feed
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Dropout, Finding
from firstcrank.model.measured import COVERAGE, Measured
from firstcrank.model.vocabulary import LIVE_PHASES, CheckId, Phase, Result
from firstcrank.units import format_duration, format_voltage

CHECK = CheckId.SUPPLY_MINIMUM


def holds_up(view: View, crank: int) -> Finding:
    """Losses in which the feed follows its supply, from the turn of this crank to its release, together. `crank` from 1."""
    interval = view.crank_intervals[crank - 1]
    from_s, to_s = interval.start.early_s, interval.end.late_s
    dips = [d for d in _with_supply(view) if d.start_s < to_s and d.end_s > from_s]
    lowest = _lowest(view, from_s, to_s)
    if not dips:
        text = f"lowest battery voltage {format_voltage(lowest.value)}"
        dip_v = view.limits["battery_dip_warn_v"]
        result = Result.WARN if lowest.value < dip_v else Result.PASS
        return Finding(CHECK, result, text, lowest, view.limits["module_minimum_v"], from_s, Phase.CRANK, crank)
    return _judged(view, dips, crank, view.limits["supply_dip_max_s"], "while cranking")


def holds_up_outside(view: View) -> Finding:
    """Outside the cranks there is no inrush to ride through: any loss that counts is too long."""
    dips = [d for d in _with_supply(view) if not _in_a_crank(view, d)]
    counting = [d for d in dips if d.duration_high_s >= view.limits["dropout_min_s"]]
    if not counting:
        return Finding(CHECK, Result.PASS, "the supply holds outside the cranks")
    return _judged(view, counting, None, view.limits["dropout_min_s"], "outside the cranks")


def _with_supply(view: View) -> list[Dropout]:
    return [d for d in view.dropouts if d.kind == "with supply"]


def _in_a_crank(view: View, dip: Dropout) -> bool:
    return any(dip.start_s < c.end.late_s and dip.end_s > c.start.early_s for c in view.crank_intervals)


def _lowest(view: View, from_s: float, to_s: float) -> Measured:
    channel = view.trace.channels[view.feed.source_role]
    inside = view.within(from_s, to_s)
    lowest_v = float((channel.lowest_v[inside] if inside.any() else channel.lowest_v).min())
    return Measured(lowest_v, uncertainty.of_voltage(lowest_v, channel.uncertainty), "V")


def _judged(view: View, dips: list[Dropout], crank: int | None, allowed_s: float, where: str) -> Finding:
    minimum_v, deepest_v = view.limits["module_minimum_v"], view.limits["supply_dip_lowest_v"]
    worst = min(dips, key=lambda d: d.lowest_v)
    total_s = sum(d.duration_s for d in dips)
    least_s, most_s = sum(d.duration_low_s for d in dips), sum(d.duration_high_s for d in dips)
    guard_v = expanded_of_feed(view.trace, view.feed, worst.lowest_v, 1.0)
    surely_low = worst.lowest_v < minimum_v - guard_v
    alone = _without_battery(view, worst, minimum_v)
    what = "the feed's source, not the battery, takes" if alone else "the battery takes"
    allowed_s = min(allowed_s, view.limits["dropout_min_s"]) if alone else allowed_s
    text = (
        f"{what} the key feed below the module's minimum of {format_voltage(minimum_v)} for "
        f"{format_duration(total_s)} {where}, down to "
        f"{format_voltage(worst.lowest_v)}"
    )
    too_long, too_deep = least_s > allowed_s and surely_low, worst.lowest_v < deepest_v - guard_v
    if too_long or too_deep:
        result = Result.FAIL
        text += (
            ": a loose joint before the switch"
            if alone
            else ". The feed follows the battery, so the supply is at fault and not the feed"
        )
    elif not alone and most_s <= allowed_s and worst.lowest_v > deepest_v + guard_v:
        result = Result.WARN
        text += f": short enough for a module to ride through ({format_duration(allowed_s)}, {format_voltage(deepest_v)})"
    else:
        result = Result.UNDECIDED
        text += (
            f": too close to what a module rides through ({format_duration(allowed_s)}, {format_voltage(deepest_v)}) to tell"
        )
    value = Measured(worst.lowest_v, guard_v / COVERAGE, "V")
    first = min(dips, key=lambda d: d.start_s)
    tolerated = (
        f"a dip of the battery to {format_voltage(worst.lowest_v)} for {format_duration(total_s)}"
        if result is Result.WARN
        else ""
    )
    return Finding(
        CHECK, result, text, value, minimum_v, first.start_s, Phase.CRANK if crank else None, crank, tolerated=tolerated
    )


def _without_battery(view: View, dip: Dropout, minimum_v: float) -> bool:
    """Whether the feed's own source dips while the battery holds above the minimum: no inrush, so nothing to ride through."""
    if view.feed.source_role == "battery":
        return False
    meanwhile = (view.trace.end_s > dip.start_s) & (view.trace.start_s < dip.end_s)
    return bool(meanwhile.any()) and float(view.trace.channels["battery"].lowest_v[meanwhile].min()) > minimum_v


def lowest_while_live(view: View) -> Measured:
    """Lowest voltage of the supply with the key ON."""
    chosen = view.in_phase(*LIVE_PHASES)
    channel = view.trace.channels[view.feed.source_role]
    lowest_v = float(channel.lowest_v[chosen].min()) if chosen.any() else float(np.min(channel.lowest_v))
    return Measured(lowest_v, uncertainty.of_voltage(lowest_v, channel.uncertainty), "V")
