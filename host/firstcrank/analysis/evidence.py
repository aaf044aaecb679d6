"""What must be there before a PASS can be given, and what makes a recording useless. Each gap is one plain line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.view import View
from firstcrank.trace import FloatArray
from firstcrank.units import text_s, text_v

LIVE_BEFORE_S = 0.2  # the feed must have been up this long before the key is turned further


@dataclass(frozen=True, slots=True)
class Gap:
    """Missing evidence. `spoils` is True where nothing in the recording can be trusted, not even a fault it shows."""

    why: str
    spoils: bool = False


def system_voltage(view: View) -> Gap | None:
    """The limits must fit the vehicle: a resting 12 V battery reads 8 to 16 V, a 24 V one 18 to 31 V."""
    rest_v = view.rest_v
    if rest_v < -0.5:
        return Gap("the battery lead reads below zero: leads reversed, or a positive-earth vehicle (not supported)", True)
    low_v, high_v = (8.0, 16.5) if view.limits.system_v == 12 else (18.0, 32.0)
    if low_v <= rest_v <= high_v:
        return None
    other = 24 if view.limits.system_v == 12 else 12
    fits_other = (18.0 <= rest_v <= 32.0) if other == 24 else (8.0 <= rest_v <= 16.5)
    if fits_other:
        return Gap(
            f"the battery rests at {text_v(rest_v)}, so this is a {other} V vehicle and the {view.limits.system_v} V "
            f"limits do not apply: use --system {other}",
            True,
        )
    if 5.0 <= rest_v < 8.0 and view.limits.system_v == 12:
        return Gap(
            f"the battery rests at {text_v(rest_v)}: a 6 V vehicle (not supported), a flat battery, or the battery lead "
            "is not on the post",
            True,
        )
    return Gap(f"the battery lead reads {text_v(rest_v)} at rest: it is not on the battery's post", True)


def clipped(view: View) -> Gap | None:
    """A reading at the top of an input's range may have been higher."""
    for role, channel in view.trace.channels.items():
        if channel.full_scale_v is None:
            continue
        top = channel.highest_v >= channel.full_scale_v - 0.002 * abs(channel.full_scale_v)
        if top.any():
            at_s = float(view.trace.start_s[np.flatnonzero(top)[0]])
            return Gap(
                f"the {words(role)} lead went above the {text_v(channel.full_scale_v)} its input can measure, at "
                f"{at_s:.2f} s: what it did there is not known"
            )
    return None


def incomplete(view: View) -> Gap | None:
    """The recording must have been closed by the recorder."""
    return None if view.trace.complete else Gap("the recording breaks off: the cable was pulled or the file is torn")


def holes(view: View) -> Gap | None:
    """Nothing may be missing between key on and the end of what is judged, if a dropout that counts fits in it."""
    from_s, to_s = _judged(view)
    shortest_s = view.limits["dropout_min_s"]
    for hole in view.trace.holes:
        if hole.end_s > from_s and hole.start_s < to_s and hole.end_s - hole.start_s >= shortest_s:
            return Gap(f"{text_s(hole.end_s - hole.start_s)} are missing at {hole.start_s:.2f} s: {hole.why}")
    jump = view.trace.start_s[1:] - view.trace.end_s[:-1]
    inside = (view.trace.end_s[:-1] >= from_s) & (view.trace.start_s[1:] <= to_s) & (jump >= shortest_s)
    if inside.any():
        at = int(np.flatnonzero(inside)[0])
        return Gap(f"{text_s(float(jump[at]))} are missing at {float(view.trace.end_s[at]):.2f} s")
    return None


def too_coarse(view: View) -> Gap | None:
    """The shortest dropout that counts must be longer than the longest time between two looks."""
    from_s, to_s = _judged(view)
    inside = view.within(from_s, to_s)
    if not inside.any():
        return None
    gap_s = view.trace.gap_s[inside]
    shortest_s = view.limits["dropout_min_s"]
    if float(gap_s.max()) < shortest_s:
        return None
    typical_s = float(np.median(gap_s))
    if typical_s >= shortest_s:
        return Gap(
            f"the readings are too far apart: one every {text_s(typical_s)}, and a dropout of {text_s(shortest_s)} counts"
        )
    at_s = float(view.trace.start_s[inside][int(np.argmax(gap_s))])
    return Gap(f"the board looked away for {text_s(float(gap_s.max()))} at {at_s:.2f} s")


def _judged(view: View) -> tuple[float, float]:
    """From key on to the key going off, or the end."""
    begin_s = view.key_on_s if view.key_on_s is not None else float(view.trace.start_s[0])
    end_s = view.key_off_s if view.key_off_s is not None else float(view.trace.end_s[-1])
    return begin_s, end_s


def clip_moved(view: View) -> Gap | None:
    """All leads stepping together, or the battery's reading gone, is a clip and not the vehicle."""
    gone = view.trace.channels["battery"].mean_v < 2.5 * view.scale
    if gone.any() and view.rest_v > 8.0:
        at_s = float(view.trace.start_s[np.flatnonzero(gone)[0]])
        return Gap(f"the battery reading vanished at {at_s:.2f} s: the battery or ground clip came off", True)
    step = _common_step(view)
    if step is None:
        return None
    return Gap(f"all leads stepped together at {step:.2f} s: a clip, most likely the ground clip, moved", True)


def _common_step(view: View) -> float | None:
    """Time at which all leads, one of them dead before, step by the same voltage from one bin to the next."""
    if len(view.trace.channels) < 2 or len(view.trace) < 3:
        return None
    means = np.vstack([c.mean_v for c in view.trace.channels.values()])
    step: FloatArray = means[:, 2:] - means[:, :-2]
    big = np.abs(step).min(axis=0) > 0.4 * view.scale
    alike = np.ptp(step, axis=0) < 0.25 * np.abs(step).max(axis=0)
    dead_moved = (np.abs(means[:, :-2]).min(axis=0) < 0.6) & big & alike
    key_on = np.abs(view.trace.start_s[:-2] - view.key_on_s) < 0.05 if view.key_on_s is not None else False
    busy = np.asarray(key_on) | np.zeros(len(dead_moved), dtype=bool)
    for crank in view.cranks:  # the key and the starter move several leads at once there
        for edge_s in (crank.start_s, crank.end_s):
            busy |= np.abs(view.trace.start_s[:-2] - edge_s) < 0.3
    at = np.flatnonzero(dead_moved & ~busy)
    return float(view.trace.start_s[at[0]]) if len(at) else None


def leads_exchanged(view: View) -> Gap | None:
    """The battery lead dead while the key lead is live at the start means that the two are exchanged."""
    first = view.within(0.0, 1.0) if view.trace.end_s[0] <= 1.0 else np.ones(len(view.trace), dtype=bool)
    battery_v = float(np.median(view.trace.channels["battery"].mean_v[first]))
    key_v = float(np.median(view.trace.channels["key_switch"].mean_v[first]))
    if battery_v < 2.5 * view.scale and key_v > 8.0:
        return Gap("the battery lead is dead and the key lead is live with the key off: the two leads are exchanged", True)
    return None


def key_never_off(view: View) -> Gap | None:
    """The feed must be seen dead and then rising; else the lead may sit on the battery."""
    if view.key_on_s is not None or not live_anywhere(view):
        return None
    drop_v = np.abs(view.trace.channels["battery"].mean_v - view.trace.channels["key_switch"].mean_v)
    if float(np.percentile(drop_v, 99)) < 0.03 * view.scale:
        return Gap("the key lead reads the same as the battery lead throughout: both are on one point")
    if float(view.feed.mean_v[0]) < view.limits["feed_live_v"]:
        return Gap(
            f"the key feed was never off: it read {text_v(float(view.feed.mean_v[0]))} at the start, so something feeds "
            "it back with the key off, or the lead is on another wire"
        )
    return Gap("the key feed was never seen off: start with the key off, then RUN, wait, then START")


def live_anywhere(view: View) -> bool:
    """True where the feed was live at some time."""
    return bool((view.feed.mean_v > view.limits["feed_live_v"]).any())


def no_crank(view: View) -> Gap | None:
    """There must be a crank, the engine must have turned, and by its own starter circuit."""
    if not view.cranks:
        return Gap("no crank was seen: the battery never sagged with an engine's compressions in it")
    return None


def crank_too_short(view: View) -> Gap | None:
    """One crank must be long enough, or the engine must have run on by itself."""
    if not view.cranks or any(long_enough(view, i) for i in range(len(view.cranks))):
        return None
    longest_s = max(c.end_s - c.start_s for c in view.cranks)
    return Gap(
        f"the crank was too short: {text_s(longest_s)}, at least {text_s(view.limits['crank_min_s'])} are needed "
        f"(or the engine running on by itself for {text_s(view.limits['run_on_s'])})"
    )


def long_enough(view: View, index: int) -> bool:
    """Whether crank `index` lasted, or the engine ran on after it."""
    crank = view.cranks[index]
    lasted_s = crank.end_s - crank.start_s
    if lasted_s >= view.limits["crank_min_s"]:
        return True
    return crank.engine_ran_on and lasted_s >= view.limits["crank_min_running_s"]


def release_not_seen(view: View) -> Gap | None:
    """The feed must be watched for a while after the starter lets go."""
    if not view.cranks:
        return None
    last = view.cranks[-1]
    watched_s = (view.key_off_s if view.key_off_s is not None else float(view.trace.end_s[-1])) - last.end_s
    if watched_s >= view.limits["after_release_s"] - 0.002:
        return None
    return Gap(
        f"only {text_s(max(watched_s, 0.0))} after the starter let go were seen, "
        f"{text_s(view.limits['after_release_s'])} are needed with the key left in RUN"
    )


def never_up_before(view: View) -> Gap | None:
    """The feed must be live for a moment before the key goes on to START."""
    if not view.cranks or not live_anywhere(view):
        return None
    turn = next(view.named("key turn"), None)
    first_s = turn.end_s if turn else view.cranks[0].start_s
    before = view.trace.end_s <= first_s
    live_s = float((view.trace.end_s - view.trace.start_s)[before & (view.feed.mean_v > view.limits["feed_live_v"])].sum())
    if live_s >= LIVE_BEFORE_S:
        return None
    return Gap("the feed was not up before the crank (key off, or one sweep from OFF to START): do RUN, wait, then START")


def never_live(view: View) -> Gap | None:
    """A feed that is never live may be dead, or its lead may be off: the recording cannot tell."""
    if live_anywhere(view):
        return None
    return Gap(
        "the key feed was never live: either the feed is dead (fuse, switch, wire) or the key lead is not on it. "
        "Check the lead on a live wire, then the feed with a meter, and record again"
    )


def gone_for_good(view: View) -> Gap | None:
    """A feed that goes and never comes back may be lost, switched off early, or the lead may have come off."""
    if not view.cranks or view.key_off_s is not None or not live_anywhere(view):
        return None
    tail = view.trace.start_s >= float(view.trace.end_s[-1]) - 0.2
    if (view.feed.mean_v[tail] > view.limits["feed_live_v"]).any():
        return None
    live = np.flatnonzero(view.feed.mean_v > view.limits["feed_live_v"])
    gone_s = float(view.trace.end_s[live[-1]])
    if only_while_cranking(view):
        return None
    return Gap(
        f"the key feed went dead at {gone_s:.2f} s and never came back: either it was lost (or the key was turned off), "
        "or the key lead came off. Check the lead, leave the key in RUN after the crank, and record again"
    )


def only_while_cranking(view: View) -> bool:
    """The feed is live in START and nowhere else: it is on the START terminal."""
    if not view.cranks:
        return False
    live = view.feed.mean_v > view.limits["feed_live_v"]
    cranking = np.zeros(len(view.trace), dtype=bool)
    around = np.zeros(len(view.trace), dtype=bool)
    for crank in view.cranks:
        cranking |= view.within(crank.start_s, crank.end_s)
        around |= view.within(crank.start_s - 0.6, crank.end_s + 0.25)
    beyond = ~around
    return bool(cranking.any() and live[cranking].mean() > 0.5 and beyond.any() and not live[beyond].any())


def off_before_the_crank(view: View) -> Gap | None:
    """A long loss between key on and the crank is a fault, or the key turned back: the recording cannot tell."""
    for drop in view.dropouts:
        if drop.phase == "key on" and drop.duration_s >= 0.5 and drop.lowest_v < view.limits["feed_off_v"]:
            return Gap(
                f"the feed was off for {text_s(drop.duration_s)} before the crank, at {drop.start_s:.2f} s: if that was "
                "the key, record again and leave it in RUN; if it was not, the feed is lost in RUN"
            )
    return None


def not_by_key(view: View) -> Gap | None:
    """Only the vehicle's own key or start button tests the switch's START contacts."""
    if view.context.cranked_with_key is False:
        return Gap("cranked by a remote switch or jumper: the ignition switch's START contacts were not tested")
    return None


def module_unplugged(view: View) -> Gap | None:
    """An unplugged module draws nothing, so a poor contact shows no drop."""
    if view.context.module_plugged_in is False:
        return Gap("the engine module was unplugged: a poor contact shows no drop without its load")
    return None


def uncalibrated(view: View) -> Gap | None:
    """Volts need a calibration."""
    if view.trace.origin.get("uncalibrated"):
        return Gap("no calibration for this board: volts are not known. Use --calibration, or calibrate the board", True)
    return None


def starter_disagrees(view: View) -> Gap | None:
    """A crank must be seen by the starter coil's lead and by the battery, where both are clipped on."""
    if not view.cranks or not view.trace.has("starter_coil"):
        return None
    battery = view.trace.channels["battery"].mean_v
    coil = view.trace.channels["starter_coil"].mean_v
    for crank in view.cranks:
        inside = view.within(crank.start_s, crank.end_s)
        before = view.within(crank.start_s - 0.5, crank.start_s - 0.1)
        if not inside.any() or not before.any():
            continue
        if float(np.median(battery[before])) - float(np.median(battery[inside])) < 0.2 * view.scale:
            return Gap(
                "the starter coil was live and the battery did not sag: the starter did not turn the engine, or the "
                "starter lead is on another wire"
            )
        if float(np.median(coil[inside])) < 0.3 * float(np.median(battery[inside])):
            return Gap(
                "the engine turned and the starter coil's lead stayed dead: the lead is off terminal 50, or the starter "
                "was bridged and the key's START contacts were not tested"
            )
    return None


def words(role: str) -> str:
    """A role as a person says it."""
    return role.replace("_", " ")


ALL: tuple[Callable[[View], Gap | None], ...] = (
    uncalibrated,
    leads_exchanged,
    system_voltage,
    clip_moved,
    incomplete,
    never_live,
    key_never_off,
    no_crank,
    never_up_before,
    gone_for_good,
    clipped,
    holes,
    too_coarse,
    crank_too_short,
    release_not_seen,
    off_before_the_crank,
    not_by_key,
    module_unplugged,
    starter_disagrees,
)


def missing(view: View) -> tuple[Gap, ...]:
    """Every gap in the evidence, the most telling first."""
    return tuple(gap for gap in (check(view) for check in ALL) if gap is not None)
