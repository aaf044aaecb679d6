"""Obligations of the key: seen dead, live before START, held after every crank, switched off and not lost."""

from __future__ import annotations

from firstcrank.analysis.missing import Missing
from firstcrank.analysis.obligations.recording import lacking, shown
from firstcrank.analysis.seen import still_missing
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId
from firstcrank.units import format_voltage


def _lacks(view: View, check: CheckId, crank: int | None = None) -> Missing | None:
    return next((m for m in still_missing(view) if m.check is check and (crank is None or m.crank == crank)), None)


def seen_dead(view: View) -> Finding:
    """The feed must be seen dead and then rising; else the lead may sit on the battery, or something feeds it back."""
    if not live_anywhere(view):
        why = (
            "the key feed was never live: either the feed is dead (fuse, switch, wire) or the key lead is not on it. Check the lead "
            "on a live wire, then the feed with a meter, and record again"
        )
        return lacking(CheckId.KEY_SEEN_DEAD, why)
    missing = _lacks(view, CheckId.KEY_SEEN_DEAD)
    if missing is None:
        return shown(CheckId.KEY_SEEN_DEAD, "the feed was dead with the key off, then came on")
    first_v = float(view.feed.mean_v[0])
    between = view.limits["feed_off_v"] <= first_v < view.limits["feed_live_v"]
    if between or view.key.fed_back_until_s is not None:
        why = (
            f"the key feed was never off: it read {format_voltage(first_v)} at the start, so something feeds it back with the key off, or "
            "the lead is on another wire"
        )
        return lacking(CheckId.KEY_SEEN_DEAD, why)
    return lacking(CheckId.KEY_SEEN_DEAD, missing.reason)


def live_anywhere(view: View) -> bool:
    """True where the feed was live at some time."""
    return bool((view.feed.mean_v > view.limits["feed_live_v"]).any())


def live_before(view: View) -> Finding:
    """The feed must be live for a moment before the key goes on to START."""
    missing = _lacks(view, CheckId.KEY_LIVE_BEFORE)
    if missing is None:
        return shown(CheckId.KEY_LIVE_BEFORE, "the feed was live before START")
    return lacking(CheckId.KEY_LIVE_BEFORE, missing.reason)


def held_after(view: View, crank: int) -> Finding:
    """The feed must be watched for a while after the starter lets go, with the key left ON. `crank` from 1."""
    missing = _lacks(view, CheckId.KEY_HELD_AFTER, crank)
    if missing is None:
        return shown(CheckId.KEY_HELD_AFTER, "the feed was watched after the starter let go", crank)
    if gone_for_good(view):
        gone_s = view.key.dead_from_s or 0.0
        why = (
            f"the key feed went dead at {gone_s:.2f} s and never came back: either it was lost (or the key was turned off), or the "
            "key lead came off. Check the lead, leave the key ON after the crank, and record again"
        )
        return lacking(CheckId.KEY_HELD_AFTER, why, crank=crank)
    return lacking(CheckId.KEY_HELD_AFTER, missing.reason, crank=crank)


def gone_for_good(view: View) -> bool:
    """The feed went dead before it had been watched after the last crank, and never came back."""
    if not view.cranks or view.key.dead_from_s is None or only_while_cranking(view):
        return False
    due_s = view.crank_intervals[-1].end.late_s + view.limits["after_release_s"]
    return view.key.off is None or view.key.off.early_s < due_s


def only_while_cranking(view: View) -> bool:
    """The feed is live in START and nowhere else: it is on the START terminal."""
    if not view.cranks:
        return False
    live = view.feed.mean_v > view.limits["feed_live_v"]
    cranking = view.within(1.0, 0.0)
    around = cranking.copy()
    for crank in view.crank_intervals:
        cranking |= view.within(crank.start_s, crank.end_s)
        around |= view.within(crank.start.early_s - 2 * view.th.key.turn_s, crank.end.late_s + view.th.key.release_s)
    beyond = ~around
    return bool(cranking.any() and live[cranking].mean() > 0.5 and beyond.any() and not live[beyond].any())
