"""Whether the readings of a logger can be what the leads carried: only for traces of one reading a row.

A board of ours tells what it lost; a CSV cannot. What a real converter on a real vehicle never does is looked for: a ceiling
that cuts the ripple, a value written many times over, a lead that stands still while its source moves, no noise at all, two
leads that are one, time stamps made up or bunched, steps too coarse. Each rule says what honest readings look like beside it.
Pure functions. Not seen: a fault that was edited with care, anything in leads that are quiet throughout.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from firstcrank.analysis.standstill import quietest_sigma, stand_still, stands_alone, straight_runs
from firstcrank.noise import live_windows, resolution_v
from firstcrank.role_properties import GROUND_ROLES, role_label
from firstcrank.thresholds.evidence import EVIDENCE
from firstcrank.thresholds.noise import NOISE
from firstcrank.thresholds.plausible import PLAUSIBLE
from firstcrank.trace import BoolArray, Channel, FloatArray, IntArray, Trace
from firstcrank.units import format_duration

Kind = Literal["clipped", "held", "frozen", "filled", "noise-free", "copied", "time", "coarse"]

AT_REST = ("battery", "key_switch")  # live while nothing turns


@dataclass(frozen=True, slots=True)
class Implausible:
    """What cannot be: on which lead, from when to when in the trace's seconds, and one plain line for the user."""

    role: str
    start_s: float
    end_s: float
    kind: Kind
    line: str


def find_implausible(trace: Trace) -> tuple[Implausible, ...]:
    """All that cannot be what the leads carried, by time. Empty for bins of several readings and for a handful of rows."""
    if len(trace) < PLAUSIBLE.least_rows or int(trace.conversions.max()) > 1 or not trace.has("battery", "key_switch"):
        return ()
    view = _View(trace)
    rules: tuple[Callable[[_View], Iterator[Implausible]], ...] = (
        _time,
        _coarse,
        _held,
        _frozen,
        _clipped,
        _still_in_noise,
        _straight,
        _still_alone,
        _noise_free,
        _copied,
        _on_the_post,
    )
    return tuple(sorted((found for rule in rules for found in rule(view)), key=lambda found: found.start_s))


class _View:
    """The trace with what several rules need."""

    def __init__(self, trace: Trace) -> None:
        self.trace = trace
        self.t_s = trace.start_s
        self.step_s = float(np.median(np.diff(trace.start_s)))
        self.battery_v = trace.channels["battery"].mean_v
        self.scale = 2.0 if float(np.median(self.battery_v)) > EVIDENCE.system_split_v else 1.0
        self.steps_v = {role: resolution_v(channel.mean_v) for role, channel in trace.channels.items()}

    def found(self, role: str, first: int, past: int, kind: Kind, line: str) -> Implausible:
        """An Implausible over the rows from `first` up to `past`."""
        return Implausible(role, float(self.t_s[first]), float(self.trace.end_s[past - 1]), kind, line)

    def leads(self) -> Iterator[tuple[str, Channel]]:
        """Every lead but the grounds, which rest at zero and may read a constant."""
        for role, channel in self.trace.channels.items():
            if role not in GROUND_ROLES:
                yield role, channel

    def rows(self, seconds: float, least: int) -> int:
        """Rows that cover `seconds`, at least `least`."""
        return max(int(np.ceil(seconds / self.step_s)), least)


def runs_of(flags: BoolArray) -> IntArray:
    """Runs of True in a flat array: shape (m, 2), first row and the row past the last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return edges.reshape(-1, 2)


def _still(volts: FloatArray) -> IntArray:
    """Runs of rows with one and the same reading, shape (m, 2)."""
    runs = runs_of(np.diff(volts) == 0.0)
    runs[:, 1] += 1  # k equal differences are k + 1 equal readings
    return runs


def _time(view: _View) -> Iterator[Implausible]:
    """Stamps that do not rise; stamps in bunches are times of arrival and not of reading. Honest stamps jitter by half a step."""
    steps_s = np.diff(view.t_s)
    wrong = np.flatnonzero(~(steps_s > 0))
    if len(wrong):
        at = int(wrong[0])
        yield view.found(
            "battery",
            at,
            at + 2,
            "time",
            f"time does not rise at {view.t_s[at]:.4f} s: rows out of order, or stamps too coarse for the rate",
        )
        return
    usual_s = float(np.mean(steps_s[steps_s <= np.quantile(steps_s, PLAUSIBLE.mean_quantile)]))
    share = float((steps_s < PLAUSIBLE.at_once * usual_s).mean())
    if share > PLAUSIBLE.bunched_share:
        yield view.found(
            "battery",
            0,
            len(view.t_s),
            "time",
            f"the time stamps come in bunches ({share:.0%} of the rows follow at once on the one before): they are not when the "
            "readings were taken",
        )


def _coarse(view: _View) -> Iterator[Implausible]:
    """Steps that hide a drop or a ripple: a logger of 8 bits. 10 bits over 20 V are 20 mV."""
    for role in ("battery", "key_switch"):
        step_v = view.steps_v[role]
        if step_v > PLAUSIBLE.coarse_v * view.scale:
            line = f"the {role_label(role)} reads in steps of {step_v * 1e3:.0f} mV: too coarse to judge by"
            yield view.found(role, 0, len(view.t_s), "coarse", line)


def _held(view: _View) -> Iterator[Implausible]:
    """A slow reading written into many rows: every change falls on a multiple of k rows, or all leads change together alone.

    Honest readings that change seldom (quiet, or fast against their steps) change at any row, and again and again at the next
    one, where the voltage lies between two steps.
    """
    changes = {role: np.flatnonzero(np.diff(channel.mean_v) != 0.0) + 1 for role, channel in view.leads()}
    for role, at in changes.items():
        if len(at) < PLAUSIBLE.least_changes:
            continue
        apart = np.diff(at[: PLAUSIBLE.held_most_changes])
        each = _period(apart)
        if each >= 2.0:
            yield _held_line(view, role, each)
    if any(len(at) < PLAUSIBLE.least_changes for at in (changes["battery"], changes["key_switch"])):
        return
    if any(_period(np.diff(changes[role])) >= 2.0 for role in ("battery", "key_switch")):
        return
    battery, key = changes["battery"], changes["key_switch"]
    apart = np.diff(battery)
    if (
        float((apart == 1).mean()) < PLAUSIBLE.next_row_share
        and float(np.isin(battery, key).mean()) > PLAUSIBLE.together_share
        and len(key) < PLAUSIBLE.seldom_share * len(view.t_s)
    ):
        yield _held_line(view, "battery", float(np.median(apart)))


def _held_line(view: _View, role: str, each: float) -> Implausible:
    rate_hz = 1.0 / (each * view.step_s)
    line = f"the {role_label(role)} was read {rate_hz:.0f} times a second and each reading written {each:.0f} times over"
    return view.found(role, 0, len(view.t_s), "held", line)


def _period(apart: FloatArray) -> float:
    """Rows between changes where all of them fit a grid of that many rows; 0 where they fit none."""
    short = float(np.quantile(apart, PLAUSIBLE.short_quantile))
    if short < 2.0:
        return 0.0
    near = apart[apart <= PLAUSIBLE.near_period * short]
    each = float(near.mean())
    if short < PLAUSIBLE.whole_rows:
        whole = round(short)
        return float(whole) if float((apart % whole == 0).mean()) > PLAUSIBLE.on_grid_share else _fine_period(apart, each)
    off = np.abs(apart / each - np.round(apart / each)) * each
    on_grid = off <= np.maximum(PLAUSIBLE.grid_slack_rows, PLAUSIBLE.grid_slack * apart)
    early = float((apart < each - PLAUSIBLE.early_rows).mean())
    return (
        each
        if early < PLAUSIBLE.early_share
        and float(on_grid[apart < PLAUSIBLE.near_periods * each].mean()) > PLAUSIBLE.near_share
        and float((apart < PLAUSIBLE.near_periods * each).mean()) > 0.5
        else 0.0
    )


def _fine_period(apart: FloatArray, each: float) -> float:
    """A period of few rows that is no whole number, by the phase of the changes: rounding to rows blurs it, chance fills it."""
    if float((apart == 1).mean()) > PLAUSIBLE.next_row_share:
        return 0.0
    at = np.cumsum(apart[: PLAUSIBLE.phase_changes])
    tried = np.arange(max(each - 0.5, 2.0), each + 0.5, each * each / (4.0 * float(at[-1])))
    coherent = np.abs(np.exp(2j * np.pi * at[:, None] / tried[None, :4000]).mean(axis=0))
    best = int(np.argmax(coherent))
    return float(tried[best]) if float(coherent[best]) > PLAUSIBLE.coherent else 0.0


def _frozen(view: _View) -> Iterator[Implausible]:
    """A live lead with one and the same reading while the battery it hangs on falls or rises. A dead lead may read a constant."""
    source = view.trace.channels.get("feed_source")
    least = view.rows(PLAUSIBLE.still_s, PLAUSIBLE.still_rows)
    for role, channel in view.leads():
        if role in ("battery", "feed_source"):
            continue
        moving_v = source.mean_v if source is not None and role == "key_switch" else view.battery_v
        volts = channel.mean_v
        need_v = max(PLAUSIBLE.moved_v * view.scale, PLAUSIBLE.moved_steps * view.steps_v[role])
        worst: tuple[float, int, int] | None = None
        for first, past in _still(volts):
            if past - first < least or abs(volts[first]) < PLAUSIBLE.live_v * view.scale:
                continue
            inside = moving_v[first + 1 : past - 1]  # the edges of the run lie between two readings
            range_v = float(np.quantile(inside, 1.0 - PLAUSIBLE.range_quantile) - np.quantile(inside, PLAUSIBLE.range_quantile))
            if range_v > need_v and (worst is None or range_v > worst[0]):
                worst = (range_v, int(first), int(past))
        if worst is not None:
            range_v, first, past = worst
            yield view.found(
                role,
                first,
                past,
                "frozen",
                f"the {role_label(role)} reads {volts[first]:.2f} V without any change for "
                f"{view.trace.end_s[past - 1] - view.t_s[first]:.1f} s, while the battery moves by {range_v:.1f} V",
            )
    yield from _frozen_battery(view, least)


def _frozen_battery(view: _View, least: int) -> Iterator[Implausible]:
    """The battery cannot stand still while the starter turns."""
    coil = view.trace.channels.get("starter_coil")
    if coil is None:
        return
    for first, past in _still(view.battery_v):
        if (
            past - first >= max(least, view.rows(PLAUSIBLE.cranking_still_s, PLAUSIBLE.still_rows))
            and float((coil.mean_v[first:past] > PLAUSIBLE.starter_live_v * view.scale).mean()) > PLAUSIBLE.cranking_share
        ):
            volts = view.battery_v[first]
            yield view.found(
                "battery", first, past, "frozen", f"the battery reads {volts:.2f} V without any change while cranking"
            )
            return


def _clipped(view: _View) -> Iterator[Implausible]:
    """A ceiling: the battery's highest reading again and again in the ripple, or on both sides of a sag and the key feed with it.

    Only the battery is looked at: every other lead hangs on it, and a lead that is clipped alone reads low. An honest battery
    comes back from a crank below its rest and creeps up, or goes above it and ripples there.
    """
    volts, step_v = view.battery_v, max(view.steps_v["battery"], 1e-4)
    top_v = float(volts.max())
    flat = runs_of(volts >= top_v)
    flat = flat[flat[:, 1] - flat[:, 0] >= PLAUSIBLE.top_rows]
    if len(flat) < 2:
        return
    reason = f"the battery never reads more than {top_v:.2f} V and stays exactly there: the logger's range ends there"
    before, after = flat[:, 0] - 1, flat[:, 1]
    entered = np.where(before >= 0, top_v - volts[np.maximum(before, 0)], 0.0) >= PLAUSIBLE.top_steps * step_v
    left = np.where(after < len(volts), top_v - volts[np.minimum(after, len(volts) - 1)], 0.0) >= PLAUSIBLE.top_steps * step_v
    cut = flat[entered | left]
    if len(cut) >= PLAUSIBLE.tops:
        within_s = view.t_s[cut[PLAUSIBLE.tops - 1 :, 0]] - view.t_s[cut[: len(cut) - PLAUSIBLE.tops + 1, 0]]
        if float(within_s.min()) <= PLAUSIBLE.tops_within_s:
            yield view.found("battery", int(cut[0, 0]), int(cut[-1, 1]), "clipped", reason)
            return
    rows = view.rows(PLAUSIBLE.flat_s, PLAUSIBLE.still_rows)
    long = flat[flat[:, 1] - flat[:, 0] >= rows]
    key_v = view.trace.channels["key_switch"].mean_v
    for (_, one_past), (two_first, two_past) in pairwise(long):
        sagged = volts[one_past:two_first] < top_v - PLAUSIBLE.moved_v * view.scale
        with_key = key_v[two_first:two_past][key_v[two_first:two_past] > 0.5 * top_v]
        key_there = len(with_key) >= rows and float((with_key == top_v).mean()) > PLAUSIBLE.key_at_top
        if sagged.any() and key_there and float(key_v.max()) == top_v:
            yield view.found("battery", int(two_first), int(two_past), "clipped", reason)
            return


def _still_in_noise(view: _View) -> Iterator[Implausible]:
    """A live lead that stands still for longer than its own noise allows: at its highest reading a ceiling, else it froze.

    The starter lead is live only while cranking. When the solenoid has pulled in and the motor does not turn yet, it is as quiet as
    battery and key feed are at rest.
    """
    at_rest_v = min(_quietest_v(view, role) for role in AT_REST)
    for role, channel in view.leads():
        most_v = math.inf if role in AT_REST else at_rest_v
        runs = stand_still(channel.mean_v, view.steps_v[role], view.scale, most_v)
        if not runs:
            continue
        first, past = max(runs, key=lambda run: run[1] - run[0])
        volts = float(channel.mean_v[first])
        if volts >= float(channel.mean_v.max()):
            line = f"the {role_label(role)} never reads more than {volts:.2f} V and stays exactly there: the logger's range ends there"
            yield view.found(role, first, past, "clipped", line)
        else:
            lasts = format_duration(float(view.trace.end_s[past - 1] - view.t_s[first]))
            line = f"the {role_label(role)} reads {volts:.2f} V for {lasts} without the noise that it has elsewhere: it froze"
            yield view.found(role, first, past, "frozen", line)


def _straight(view: _View) -> Iterator[Implausible]:
    """A live lead that draws a line without its noise: rows that were missing, filled in by a spreadsheet or a script."""
    for role in AT_REST:
        volts = view.trace.channels[role].mean_v
        sloping = [run for run in straight_runs(volts, view.steps_v[role], view.scale) if np.ptp(volts[slice(*run)]) > 0.0]
        if sloping:
            first, past = max(sloping, key=lambda run: run[1] - run[0])
            lasts = format_duration(float(view.trace.end_s[past - 1] - view.t_s[first]))
            line = f"the {role_label(role)} draws a straight line for {lasts} without the noise that it has elsewhere: it was filled in"
            yield view.found(role, first, past, "filled", line)


def _quietest_v(view: _View, role: str) -> float:
    """Noise of a lead where it is quietest, volts; 0 where it shows none."""
    step_v = view.steps_v[role]
    return (
        quietest_sigma(view.trace.channels[role].mean_v / step_v, PLAUSIBLE.live_v * view.scale / step_v) * step_v
        if step_v
        else 0.0
    )


def _still_alone(view: _View) -> Iterator[Implausible]:
    """One of battery and key feed stands still while the other goes on with the noise that they shared."""
    for role, other in (("key_switch", "battery"), ("battery", "key_switch")):
        if "feed_source" in view.trace.channels:
            return
        volts, beside = view.trace.channels[role].mean_v, view.trace.channels[other].mean_v
        run = stands_alone(volts, view.steps_v[role], beside, view.steps_v[other])
        if run is not None:
            first, past = run
            lasts = format_duration(float(view.trace.end_s[past - 1] - view.t_s[first]))
            line = (
                f"the {role_label(role)} reads {volts[first]:.2f} V for {lasts} while the {role_label(other)} shows the noise that "
                "both had: it froze"
            )
            yield view.found(role, first, past, "frozen", line)


def _noise_free(view: _View) -> Iterator[Implausible]:
    """A live lead that moves without any noise was computed, not read. Windows in which a reading stands still tell nothing."""
    for role in ("battery", "key_switch"):
        volts = view.trace.channels[role].mean_v
        windows = live_windows(volts)
        moving = windows[(np.diff(windows, axis=1) != 0.0).mean(axis=1) > PLAUSIBLE.moving_share]
        if len(moving) < PLAUSIBLE.moving_windows or float(np.abs(moving).min()) < NOISE.live_v:
            continue
        each_v = np.sqrt(np.mean(np.square(np.diff(moving, n=4, axis=1)), axis=1) / 70.0)
        if float(np.quantile(each_v, PLAUSIBLE.silent_quantile)) < PLAUSIBLE.silent_v:
            line = f"the {role_label(role)} has no noise at all: it was computed or smoothed, not read"
            yield view.found(role, 0, len(view.t_s), "noise-free", line)


def _copied(view: _View) -> Iterator[Implausible]:
    """Two leads with the very same readings, noise and all, over many changes: one of them was copied from the other.

    Honest leads at one voltage differ by their own noise; rounded coarsely they agree often, yet then from end to end.
    """
    for role, channel in view.leads():
        if role == "battery":
            continue
        live = (np.abs(channel.mean_v) > NOISE.live_v) & (np.abs(view.battery_v) > NOISE.live_v)
        same = (channel.mean_v == view.battery_v) & live
        changed = np.concatenate(([0], np.cumsum(np.diff(view.battery_v) != 0.0)))
        runs = runs_of(same)
        if not len(runs):
            continue
        counts = changed[runs[:, 1] - 1] - changed[runs[:, 0]]
        best = int(np.argmax(counts))
        first, past = (int(n) for n in runs[best])
        if counts[best] < PLAUSIBLE.copied_changes:
            continue
        others = live.copy()
        others[first:past] = False
        others[1:] &= np.diff(view.battery_v) != 0.0
        elsewhere = float(same[others].mean()) if int(others.sum()) >= PLAUSIBLE.copied_elsewhere else 0.0
        if elsewhere < PLAUSIBLE.copied_before:
            since = f"{view.t_s[first]:.2f} s"
            line = f"the {role_label(role)} has the battery's very readings from {since} on: it is a copy, or on the same post"
            yield view.found(role, first, past, "copied", line)


def _on_the_post(view: _View) -> Iterator[Implausible]:
    """The feed's drop vanishes at one instant and for good while the battery does not notice: its lead was put on the post.

    A load that is switched off takes its drop away as well; the battery then rises by its share of the source's resistance.
    """
    key = view.trace.channels["key_switch"].mean_v
    drop_v = view.battery_v - key
    live = key > 0.5 * view.battery_v
    rows = view.rows(PLAUSIBLE.post_rows_s, PLAUSIBLE.post_rows)
    if "feed_source" in view.trace.channels or int(live.sum()) < 4 * rows:
        return
    tiny_v = max(PLAUSIBLE.post_tiny_v * view.scale, 2.0 * view.steps_v["battery"], 2.0 * view.steps_v["key_switch"])
    small = np.abs(drop_v) < tiny_v + PLAUSIBLE.post_tiny_share * view.battery_v
    if not small[-rows:].mean() > PLAUSIBLE.post_end_share:
        return
    large = np.flatnonzero(live & (drop_v > PLAUSIBLE.on_post_v * view.scale) & ~small)
    if not len(large):
        return
    at = int(large[-1]) + 1  # from here on the drop is gone
    if (
        at + view.rows(PLAUSIBLE.on_post_s, 4 * rows) > len(key)
        or at < 2 * rows
        or float(small[at + rows :].mean()) < PLAUSIBLE.post_after_share
    ):
        return
    before = slice(at - rows - 2, at - 2)
    after = slice(at + 2, at + 2 + rows)
    steady = (
        live[before].all()
        and float((drop_v[before] > PLAUSIBLE.post_steady * PLAUSIBLE.on_post_v * view.scale).mean())
        > PLAUSIBLE.post_steady_share
    )
    was_v, is_v = float(np.median(drop_v[before])), float(np.median(drop_v[after]))
    battery_moved_v = abs(float(np.median(view.battery_v[after]) - np.median(view.battery_v[before])))
    if (
        steady
        and was_v - is_v > PLAUSIBLE.on_post_v * view.scale
        and battery_moved_v < PLAUSIBLE.post_battery * (was_v - is_v) + view.steps_v["battery"]
    ):
        line = (
            f"the key feed's drop of {was_v:.2f} V is gone at {view.t_s[at]:.2f} s and for good, and the battery did not notice: "
            "was its lead put on the battery's post?"
        )
        yield view.found("key_switch", at, len(key), "copied", line)
