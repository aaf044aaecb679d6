"""Obligations O1 and O2: what else is wrong with the vehicle, as far as its leads are on."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tests.strangers.grader.feed import Feed
from tests.strangers.grader.levels import Labels, Margin
from tests.strangers.grader.measure import below, worst_mean
from tests.strangers.plan import OFF

Floats = NDArray[np.float64]
UNPRINTED = -0.5  # over a limit only by a window that no obligation prints: nothing is asked of the verdict


def judge_others(f: Feed, labels: Labels) -> None:
    """Adds the margins of O1 and O2."""
    leads = f.s.plan.record.leads
    volts = f.s.world.volts
    t = f.s.world.t_s
    if "module_supply" in leads:
        ground = volts["module_ground"] if "module_ground" in leads else np.zeros_like(t)
        _module_minimum(f, labels, volts["module_supply"] - ground)
        _window(f, labels, "module_supply", volts["battery"] - volts["module_supply"], "module_supply_drop_fail_v")
    if "module_ground" in leads:
        _window(f, labels, "module_ground", volts["module_ground"], "module_ground_rise_fail_v")
    if "engine_ground" in leads and f.s.plan.record.tricks.get("ground", ("",))[0] == "block":
        labels.unsure.append("O2: with the ground clip on the engine no lead shows the engine's own ground")
    elif "engine_ground" in leads:
        _window(f, labels, "engine_ground", volts["engine_ground"], "engine_ground_rise_fail_v")
    if "starter_coil" in leads:
        _starter_control(f, labels)
    if {"heater_coil", "heater_return"} & set(leads):
        _heater(f, labels)
    _charge(f, labels)
    _backfeed(f, labels)


def _module_minimum(f: Feed, labels: Labels, supply: Floats) -> None:
    """O1, with P1's tolerance."""
    t = f.s.world.t_s
    minimum = f.limits["module_minimum_v"]
    floor = f.limits["supply_dip_lowest_v"]
    u = math.hypot(f.known.volts("module_supply", minimum), 0.0)
    for c in f.times.cranks:
        for spread, by in ((4.0, 4.5), (0.0, 0.5), (-4.0, -3.5)):
            low = below(t, supply, minimum - spread * u, c.start_s, c.let_go_s)
            total = sum(x.length_s for x in low)
            lowest = min((x.lowest for x in low), default=math.inf)
            if total > f.limits["supply_dip_max_s"] + spread * f.known.time_s or lowest < floor - spread * u:
                labels.margins.append(Margin("O1", by, f"module supply {lowest:.2f} V for {total * 1e3:.1f} ms"))


def _window(f: Feed, labels: Labels, role: str, drop: Floats, limit: str) -> None:
    """A drop or rise while cranking: missed by its mean over 0.5 s, clear by its worst 10 ms."""
    t = f.s.world.t_s
    spans = [(c.start_s, c.let_go_s) for c in f.times.cranks]
    long, where = worst_mean(t, drop, 0.5, spans)
    short, _ = worst_mean(t, drop, 0.01, spans)
    if not math.isfinite(short):
        return
    at = float(np.interp(where, t, f.source))
    u = f.known.difference("battery", at, role, at) if role == "module_supply" else f.known.volts(role, drop.max())
    # the obligation does not print a window: missed for certain only by the mean of a whole crank
    whole = max((worst_mean(t, drop, b - a - 1e-6, [(a, b)])[0] for a, b in spans), default=-math.inf)
    over_whole, over_short = (whole - f.limits[limit]) / u, (short - f.limits[limit]) / u
    by = over_whole if over_whole > 0 else min(over_short, UNPRINTED)
    labels.margins.append(Margin("O2", by, f"{role} {whole:.3f} V mean, {long:.3f} V over 0.5 s, {short:.3f} V over 10 ms"))


def _starter_control(f: Feed, labels: Labels) -> None:
    """Missed by the plateau of a crank; clear by the drop while the solenoid pulls in."""
    p = f.s.plan
    limit = f.limits["starter_control_drop_fail_v"]
    extra = p.module.strap_ohm * p.engine.stall_a if "engine_ground" in p.record.leads else 0.0
    if not any(not c.bridged for c in p.cranks) or not f.times.cranks:
        return
    u = f.known.difference("battery", 10 * p.scale, "starter_coil", 10 * p.scale)
    by = (p.coil_drop_v - limit) / u
    if by > -4 and "engine_ground" not in p.record.leads:
        labels.unsure.append("O2: starter control, its minus side not recorded")
        return
    if by <= 0:
        by = min((p.coil_drop_v * 1.8 + extra - limit) / u, UNPRINTED)
    labels.margins.append(Margin("O2", by, f"starter control {p.coil_drop_v:.2f} V"))


def _heater(f: Feed, labels: Labels) -> None:
    p = f.s.plan
    seen = [x for x in p.loads if x.what == "heater" and x.off_s > p.record.begin_s + 0.3 and x.on_s < p.record.end_s - 0.3]
    if not seen:
        return
    if p.heater_reversed:
        labels.margins.append(Margin("O2", 10.0, "heater reversed"))
        return
    limit = f.limits["heater_drop_fail_v"]
    u = f.known.difference("battery", 11 * p.scale, "heater_coil", 11 * p.scale)
    value = p.heater_drop_v + 0.15 * p.scale + (0.08 * p.scale if "heater_return" in p.record.leads else 0.0)
    by = (p.heater_drop_v + 0.15 * p.scale - limit) / u
    labels.margins.append(Margin("O2", by if by > 0 else min((value - limit) / u, UNPRINTED), f"heater {value:.2f} V"))


def _charge(f: Feed, labels: Labels) -> None:
    """No charge: told that it runs and watched for 60 s."""
    p = f.s.plan
    states = f.s.world.plant
    if not p.record.answers.get("engine_running") or states.runs_from_s is None:
        return
    watched = p.record.end_s - states.runs_from_s
    t = f.s.world.t_s
    late = t > p.record.end_s - 3.0
    if f.times.offs and f.times.offs[-1] > states.runs_from_s:
        watched = f.times.offs[-1] - states.runs_from_s
        late = (t > f.times.offs[-1] - 3.0) & (t < f.times.offs[-1])
    mean = float(f.s.world.volts["battery"][late].mean())
    u = f.known.volts("battery", mean)
    by = (f.limits["charge_low_v"] - mean) / u
    if mean > f.limits["charge_high_v"] - 4 * u:
        labels.add("O2", mean, f.limits["charge_high_v"], u, f"battery {mean:.2f} V with the engine running")
    if watched > 62.0:
        labels.margins.append(Margin("O2", by, f"battery {mean:.2f} V after {watched:.0f} s of running"))
    elif watched > 55.0 and by > -4:
        labels.unsure.append("O2: charge")


def _backfeed(f: Feed, labels: Labels) -> None:
    """Feed above the module's wake voltage or the dead level after a key-off."""
    p = f.s.plan
    if p.feed.backfeed is None:
        return
    t = f.s.world.t_s
    feed = f.feed
    offs = [at for at, to in p.key if to == OFF]
    for n, at in enumerate(offs):
        until = next((x for x, to in p.key if x > at and to != OFF), p.record.end_s)
        if until - at < 0.3:
            continue
        i, j = np.searchsorted(t, [at + 5 * p.feed.decay_s + 0.05, until - 0.01])
        if j - i < 10:
            continue
        level = float(np.median(feed[i:j]))
        u = f.known.volts("key_switch", level)
        by = (float(feed[i:j].max()) - f.limits["feed_off_v"]) / u
        if by > -4:
            labels.unsure.append(f"O2: back-feed of {level:.2f} V after key off {n + 1}")
