"""Causes in the key feed itself."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.causes.symptoms import Symptoms, is_contact
from firstcrank.analysis.obligations.key import gone_for_good, live_anywhere, only_while_cranking
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Cause
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.thresholds.cause import CAUSE
from firstcrank.trace import FloatArray
from firstcrank.units import format_duration, format_voltage


def feed_from_start_terminal(symptoms: Symptoms) -> Cause | None:
    """Live in START and nowhere else."""
    if not only_while_cranking(symptoms.view):
        return None
    return Cause(
        "feed_from_start_terminal",
        0.95,
        "The feed is live only while the starter is commanded: it is connected to the switch's START terminal.",
    )


def feed_dead_in_start(symptoms: Symptoms) -> Cause | None:
    """Lost for most of the crank, or far lower in START than with KEY ON, without the battery's current explaining it."""
    view = symptoms.view
    if not live_anywhere(view) or only_while_cranking(view) or gone_for_good(view) or symptoms.ground_share > 0.5:
        return None
    run_v, crank_v = symptoms.drop_v(Phase.KEY_ON), symptoms.drop_v(Phase.CRANK)
    warn_v = view.limits["feed_drop_warn_v"]
    worse = (
        crank_v is not None
        and crank_v > warn_v
        and (run_v is None or crank_v > CAUSE.more_in_start * run_v + CAUSE.more_in_start_share * warn_v)
    )
    chatters = len(symptoms.inside) >= CAUSE.chatter_count and symptoms.lost_share > CAUSE.chatter_share
    if not (symptoms.own and symptoms.lost_share >= CAUSE.nearly_all) and not worse and not chatters:
        return None
    if symptoms.tracks_current > CAUSE.follows_current and symptoms.lost_share < CAUSE.nearly_all:
        return None
    if not _good_in_run(symptoms) and not worse and symptoms.lost_mean_v > view.limits["feed_off_v"]:
        return None  # as much is lost with KEY ON, where the battery holds it up
    if symptoms.coil_share > CAUSE.coil_share and symptoms.lost_mean_v > view.limits["feed_off_v"]:
        return None  # the starter's own control loses as much: before the switch, not in it
    if chatters and not worse and symptoms.lost_share < CAUSE.nearly_all:
        symptom, confidence = "comes and goes as long as the key is in START", 0.75
    elif symptoms.lost_share >= CAUSE.nearly_all and symptoms.lost_mean_v < view.limits["feed_off_v"]:
        symptom, confidence = "dead as long as the key is in START, so the engine cranks with its module off", 0.95
    elif symptoms.lost_share >= CAUSE.nearly_all:
        symptom, confidence = f"down to {format_voltage(symptoms.lost_mean_v)} on average as long as the key is in START", 0.9
    else:
        symptom, confidence = (
            f"{format_voltage(crank_v or 0.0)} below its source in START and {format_voltage(run_v or 0.0)} with KEY ON",
            0.85,
        )
    return Cause(
        "feed_dead_in_start",
        confidence,
        f"The feed is good with KEY ON and {symptom}: the wrong terminal of the ignition switch, or a worn START contact.",
    )


def _good_in_run(symptoms: Symptoms) -> bool:
    run_v = symptoms.drop_v(Phase.KEY_ON)
    return run_v is None or run_v < symptoms.view.limits["feed_drop_fail_v"]


def feed_lost_at_turn(symptoms: Symptoms) -> Cause | None:
    """Lost only while the key travels."""
    if not symptoms.turn or symptoms.lost_share > CAUSE.little or symptoms.inside:
        return None
    longest = max(symptoms.turn, key=lambda d: d.duration_s)
    way = "from KEY ON to START" if Phase.TURN in longest.phases else "back from START to KEY ON"
    failed = any(f.result is Result.FAIL and f.check is CheckId.FEED_DROPOUT for f in symptoms.findings)
    return Cause(
        "feed_lost_at_turn",
        0.9 if failed else 0.3,
        f"The feed is lost only while the key travels {way}, for {format_duration(longest.duration_s)}: the switch breaks one contact "
        "before it makes the other.",
    )


def feed_relay(symptoms: Symptoms) -> Cause | None:
    """Gone as the battery dips, back as it recovers, abrupt both ways: a relay that lets go and pulls in again."""
    view = symptoms.view
    battery = view.trace.channels["battery"].mean_v
    crank = view.in_phase(Phase.CRANK, Phase.RELEASE)
    long = [
        d
        for d in symptoms.own
        if d.counts and d.duration_s >= CAUSE.held_open_s and d.phase in (Phase.CRANK, Phase.TURN, Phase.RELEASE)
    ]
    if (
        not long
        or not crank.any()
        or len(symptoms.own) > CAUSE.relay_losses
        or symptoms.lost_mean_v > view.limits["feed_off_v"] + CAUSE.relay_dead_v
    ):
        return None
    first = view.crank_intervals[0]
    start = long[0]
    begin_s = first.sag_s if first.sag_s is not None else first.start_s
    if not begin_s - CAUSE.relay_before_s <= start.start_s <= begin_s + CAUSE.relay_after_s:
        return None  # a contact is lost before the battery sags; a relay lets go because it does
    let_go_v, back_v = _battery_at(view, battery, start.start_s), _battery_at(view, battery, start.start_s + start.duration_s)
    rest_v = float(np.median(battery[view.in_phase(Phase.KEY_ON)])) if view.in_phase(Phase.KEY_ON).any() else view.rest_v
    if rest_v - let_go_v < CAUSE.relay_dip_v * view.scale or back_v < let_go_v:
        return None
    return Cause(
        "feed_relay",
        0.97 if start.duration_s < CAUSE.relay_back_share * (first.end_s - begin_s) else 0.96,
        f"The feed goes as the battery dips to {format_voltage(let_go_v)} and comes back at "
        f"{format_voltage(back_v)}, abruptly both ways: a relay in "
        "the feed lets go at low voltage (hot or weak coil, poor coil feed or ground).",
    )


def _battery_at(view: View, battery: FloatArray, at_s: float) -> float:
    i = int(np.clip(np.searchsorted(view.trace.end_s, at_s), 0, len(battery) - 1))
    return float(battery[i])


def feed_loose(symptoms: Symptoms) -> Cause | None:
    """Losses or brief drops that come and go, outside the key's travel, while the battery stays up."""
    view = symptoms.view
    if symptoms.lost_share > CAUSE.nearly_all or symptoms.ground_share > 0.5 or not live_anywhere(view):
        return None
    travels = set(symptoms.turn)
    end_s = float(view.trace.end_s[-1])
    came_back = [d for d in symptoms.own if d not in travels and d.end_s < end_s - CAUSE.end_s and is_contact(view, d)]
    few = len(came_back) < CAUSE.few_short and not symptoms.all_found(CheckId.FEED_SHORT_LOSSES, Result.FAIL)
    if few and all(d.kind == "short" for d in came_back):
        came_back = []  # a few microseconds here and there are a healthy contact's
    brief = symptoms.all_found(CheckId.FEED_DROP_BRIEF, Result.FAIL) if not any(d.counts for d in symptoms.own) else ()
    if not came_back and not brief:
        return None
    longest_s = max((d.duration_s for d in came_back), default=0.0)
    steadily = max(v for v in (symptoms.drop_v(Phase.KEY_ON), symptoms.drop_v(Phase.AFTER), 0.0) if v is not None)
    several = len(came_back) >= CAUSE.several
    what = f"{len(came_back)} dropouts" if several else "a dropout" if came_back else "a brief drop"
    how = f", the longest {format_duration(longest_s)}," if came_back else ""
    when = "within the crank" if came_back and all(d in symptoms.inside for d in came_back) else "with the key ON"
    return Cause(
        "feed_loose",
        (0.9 if several else 0.7) - (0.25 if steadily > view.limits["feed_drop_warn_v"] else 0.0),
        f"{what}{how} {when}, while the battery stays up: a contact in the feed opens as the engine shakes or the harness moves.",
    )


def feed_ballast(symptoms: Symptoms) -> Cause | None:
    """Too much drop with KEY ON that START bypasses, or that grows within seconds as the resistor warms."""
    run_v, crank_v = symptoms.drop_v(Phase.KEY_ON), symptoms.drop_v(Phase.CRANK)
    warn_v = symptoms.view.limits["feed_drop_warn_v"]
    if run_v is None or run_v < warn_v:
        return None
    warms = _warming(symptoms.view)
    bypassed = crank_v is not None and crank_v < 0.5 * run_v
    if not bypassed and warms < CAUSE.warming:
        return None
    how = f"only {format_voltage(crank_v or 0.0)} while cranking" if bypassed else f"{warms:.0%} more within seconds of key on"
    return Cause(
        "feed_ballast",
        0.9 if bypassed else 0.88,
        f"The feed drops {format_voltage(run_v)} with KEY ON and {how}: it comes through a ballast resistor or resistor wire.",
    )


def _warming(view: View) -> float:
    """How much the drop grows between the first 0.15 s and the last 0.3 s of KEY ON before the crank, as a share of its start."""
    phase = next(view.named(Phase.KEY_ON), None)
    if phase is None or phase.end_s - phase.start_s < CAUSE.warming_least_s:
        return 0.0
    early = view.within(phase.start_s + CAUSE.warming_settle_s, phase.start_s + CAUSE.warming_settle_s + CAUSE.warming_first_s)
    late = view.within(phase.end_s - CAUSE.warming_last_s, phase.end_s)
    if not early.any() or not late.any():
        return 0.0
    first_v, last_v = float(np.median(view.feed.drop_v[early])), float(np.median(view.feed.drop_v[late]))
    return last_v / first_v - 1.0 if first_v > CAUSE.least_v else 0.0


def feed_resistance(symptoms: Symptoms) -> Cause | None:
    """Too much drop in ON and in START alike, or for a long time without going dead."""
    view = symptoms.view
    if (symptoms.lost_share > CAUSE.nearly_all and _good_in_run(symptoms)) or symptoms.ground_share > 0.5:
        return None
    warn_v = view.limits["feed_drop_warn_v"]
    by_phase = {p: symptoms.drop_v(p) for p in (Phase.KEY_ON, Phase.CRANK, Phase.AFTER)}
    run_v, crank_v = by_phase[Phase.KEY_ON], by_phase[Phase.CRANK]
    worst_v = max((v for v in by_phase.values() if v is not None), default=0.0)
    held_low = [d for d in symptoms.own if d.duration_s >= CAUSE.held_open_s and d.lowest_v > view.limits["feed_off_v"]]
    drops = symptoms.all_found(CheckId.FEED_DROP_STEADY, Result.FAIL, Result.WARN) if not symptoms.own else ()
    if worst_v < warn_v and not held_low and not drops:
        return None
    apart = (
        run_v is not None and crank_v is not None and not 0.5 * run_v <= crank_v <= CAUSE.more_in_start * run_v + CAUSE.alike_v
    )
    if apart and not held_low:
        return None
    failed = any(f.result is Result.FAIL for f in symptoms.all_found(CheckId.FEED_DROP_STEADY, Result.FAIL))
    worst_v = max(worst_v, max((f.measured or 0.0 for f in drops), default=0.0))
    lost = f"{format_voltage(worst_v)}" if worst_v >= warn_v else "volts"
    held = any(d.duration_s >= CAUSE.held_s for d in held_low)
    return Cause(
        "feed_resistance",
        (0.85 if failed else 0.5) if worst_v >= warn_v and not apart else 0.75 if held else 0.55,
        f"The feed loses {lost} between the battery and the module's plug without going dead: a corroded or loose joint, a thin "
        "wire, or a worn contact.",
    )


def fuse_or_link(symptoms: Symptoms) -> Cause | None:
    """Never live, or gone once and never back: a fuse, unless the lead is off."""
    if not live_anywhere(symptoms.view):
        return Cause(
            "fuse_or_link",
            0.4,
            "The feed was never live. If the key lead is on it, a fuse or fusible link in the feed is open, or the switch does not "
            "feed it.",
        )
    if not gone_for_good(symptoms.view):
        return None
    return Cause(
        "fuse_or_link",
        0.6,
        "The feed went once and stayed dead. If the lead is still on it, a fuse or fusible link in the feed has opened.",
    )
