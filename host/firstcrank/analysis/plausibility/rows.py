"""Rows that are no readings: stamps made up or bunched, steps too coarse, one reading written into many rows."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from firstcrank.analysis.plausibility.examined import Examined, Implausible
from firstcrank.role_properties import role_label
from firstcrank.thresholds.plausible import PLAUSIBLE
from firstcrank.trace import FloatArray


def time(view: Examined) -> Iterator[Implausible]:
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


def coarse(view: Examined) -> Iterator[Implausible]:
    """Steps that hide a drop or a ripple: a logger of 8 bits. 10 bits over 20 V are 20 mV."""
    for role in ("battery", "key_switch"):
        step_v = view.steps_v[role]
        if step_v > PLAUSIBLE.coarse_v * view.scale:
            line = f"the {role_label(role)} reads in steps of {step_v * 1e3:.0f} mV: too coarse to judge by"
            yield view.found(role, 0, len(view.t_s), "coarse", line)


def held(view: Examined) -> Iterator[Implausible]:
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


def _held_line(view: Examined, role: str, each: float) -> Implausible:
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
