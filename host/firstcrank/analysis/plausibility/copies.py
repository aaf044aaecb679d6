"""Leads that were computed, copied from another, or put on the battery's post."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from firstcrank.analysis.plausibility.examined import Examined, Implausible, runs_of
from firstcrank.noise import live_windows
from firstcrank.role_properties import role_label
from firstcrank.thresholds.noise import NOISE
from firstcrank.thresholds.plausible import PLAUSIBLE


def noise_free(view: Examined) -> Iterator[Implausible]:
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


def copied(view: Examined) -> Iterator[Implausible]:
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


def on_the_post(view: Examined) -> Iterator[Implausible]:
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
