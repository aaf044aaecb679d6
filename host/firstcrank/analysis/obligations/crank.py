"""Obligations of the crank: seen, long enough or the engine ran, and by the starter's own circuit."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.compressions import find_rhythm
from firstcrank.analysis.grid import averaged
from firstcrank.analysis.obligations.recording import lacking, shown
from firstcrank.analysis.seen import still_missing
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId
from firstcrank.thresholds.sag import SAG
from firstcrank.units import counted, format_duration


def seen(view: View) -> Finding:
    """The starter must have turned the engine at least once."""
    if view.cranks and view.found.like_a_starter_s:
        at_s = view.found.like_a_starter_s[0]
        hint = (
            "did the starter lead come off?"
            if view.trace.has("starter_coil")
            else "a starter lead on the S terminal (50) shows it"
        )
        why = f"the battery sagged at {at_s:.2f} s as a starter pulls it: perhaps one more crank, in which nothing was judged ({hint})"
        return lacking(CheckId.CRANK_SEEN, why, at_s=at_s)
    if view.cranks:
        by = "starter lead" if view.cranks[0].by_lead else "battery's compressions"
        return shown(CheckId.CRANK_SEEN, f"{counted(len(view.cranks), 'crank')}, by the {by}")
    if view.found.unseen_by_lead:
        return _lead_stayed_dead(CheckId.CRANK_SEEN)
    if view.trace.has("starter_coil"):
        why = "no crank was seen: the starter lead was never live"
        if view.found.lead_always_live:
            why = "no crank was seen: the starter lead is live from the start, so it is not on the S terminal (50)"
        return lacking(CheckId.CRANK_SEEN, why)
    why = "no crank was surely seen: an engine's compressions don't show in the battery (clip a starter lead on the S terminal (50))"
    return lacking(CheckId.CRANK_SEEN, why)


def _lead_stayed_dead(check: CheckId, crank: int | None = None) -> Finding:
    why = (
        "the engine turned and the starter lead stayed dead: the lead is off the S terminal (50), or the starter was bridged and "
        "the key's START contacts were not tested"
    )
    return lacking(check, why, crank=crank)


def long_enough(view: View) -> Finding:
    """One crank lasted, or the engine ran on by itself."""
    missing = next((m for m in still_missing(view) if m.check is CheckId.CRANK_LONG_ENOUGH), None)
    if missing is not None:
        return lacking(CheckId.CRANK_LONG_ENOUGH, missing.reason)
    if not view.cranks:
        return lacking(CheckId.CRANK_LONG_ENOUGH, "no crank was seen")
    longest = max(view.cranks, key=lambda c: c.end_s - c.start_s)
    ran = next((c.ran_on_evidence for c in view.cranks if c.engine_ran_on), "")
    text = f"cranked for {format_duration(longest.end_s - longest.start_s)}" + (f"; the engine ran ({ran})" if ran else "")
    return shown(CheckId.CRANK_LONG_ENOUGH, text)


def by_starter(view: View, crank: int) -> Finding:
    """With a starter lead, its coil and the battery must agree that the starter worked. `crank` from 1."""
    interval = view.crank_intervals[crank - 1]
    if not interval.by_lead:
        return shown(CheckId.CRANK_BY_STARTER, "by the battery's compressions", crank)
    if view.found.unseen_by_lead:
        return _lead_stayed_dead(CheckId.CRANK_BY_STARTER, crank)
    battery = view.trace.channels["battery"].mean_v
    inside = view.within(interval.start_s, interval.end_s)
    before = view.within(
        interval.start.early_s - view.th.crank.before_from_s, interval.start.early_s - view.th.crank.before_to_s
    )
    if not inside.any() or not before.any():
        return lacking(CheckId.CRANK_BY_STARTER, "too little was recorded before and during the crank", crank=crank)
    level_v = float(np.median(battery[before]))
    first = view.within(interval.start_s, interval.start_s + view.th.crank.inrush_deepest_s)
    inrush_v = level_v - float(battery[first].min()) if first.any() else 0.0  # a heater may go off as the crank begins
    if level_v - float(np.median(battery[inside])) < view.th.crank.sag_least_v and inrush_v < view.th.crank.inrush_v:
        why = (
            "the starter coil was live and the battery did not sag: the starter did not turn the engine, or the starter lead is on "
            "another wire"
        )
        return lacking(CheckId.CRANK_BY_STARTER, why, crank=crank)
    if not _turned(view, crank, level_v):
        why = (
            "the starter coil was live and the battery's voltage shows no engine being turned: the starter did not turn it, or the "
            "starter lead is on another wire"
        )
        return lacking(CheckId.CRANK_BY_STARTER, why, crank=crank)
    return shown(CheckId.CRANK_BY_STARTER, "starter lead and battery agree", crank)


def _turned(view: View, crank: int, level_v: float) -> bool:
    """Whether it ran afterwards, or the battery, at `level_v` before, shows compressions.

    A glow plug, a lamp, a starter that stands still or spins free has none; noise makes a few in a row, an engine most of the time.
    """
    interval, th = view.crank_intervals[crank - 1], view.th.crank
    if view.cranks[crank - 1].engine_ran_on:
        return True
    later = view.within(interval.start_s + th.settle_s, interval.end_s)
    if not later.any():
        return False
    at_s, volts = view.trace.mid_s[later], view.trace.channels["battery"].mean_v[later]
    sag_v = level_v - float(np.median(volts))
    rhythm = find_rhythm(*averaged(at_s, volts, th.grid_hz), sag_v, th, SAG.step_noise)
    if rhythm is None:
        return False
    fills = rhythm.last_s - float(rhythm.lows_s[0]) >= th.turned_share * float(at_s[-1] - at_s[0])
    return fills or rhythm.swing_v >= th.turned_noise * rhythm.noise_v  # a weak cylinder breaks the row at every turn
