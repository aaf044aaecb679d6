"""Battery, starter, engine, alternator and loads through time: the slow states, in steps of 3 to 20 ms.

Whatever jumps (a load that comes on, the starter's contacts) is not stepped over: `battery_at` puts the battery's volts together
on any grid from the slow states and the switched currents, so edges are as sharp as they were drawn.

Starter, reduced to the crankshaft: V = k w + I R, torque k I against friction (0.6 + 0.4 w / w0 of the mean torque) and
compressions; over a one-way clutch, so an engine that overtakes leaves the starter running free at `free_a`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.strangers.plan import Load, Plan

Floats = NDArray[np.float64]
CRANK_STEP_S, CALM_STEP_S = 0.003, 0.02
ARC_S = 0.0012  # main contacts open: the current dies within about a millisecond, from memory
BRUSH_V = 1.0  # both brushes of a series motor, from memory


@dataclass(frozen=True, slots=True)
class Plant:
    """Slow states on their own grid, shape (n,): polarisation V, starter's counter-voltage V, alternator A, engine rpm."""

    t_s: Floats
    polar_v: Floats
    counter_v: Floats
    alternator_a: Floats
    rpm: Floats
    resist_ohm: float
    runs_from_s: float | None
    runs_until_s: float | None


def all_loads(p: Plan) -> list[Load]:
    """The drawn loads and the solenoid's own coil: 40 to 90 A pulling in, 10 to 20 A holding (TM 5-2420-230-24-2)."""
    out = list(p.loads)
    for c in p.cranks:
        if c.locked_out or c.bridged:
            continue
        s_on, s_off = c.key_start_s + c.relay_s, c.key_end_s + c.relay_s
        out.append(Load(s_on, s_on + c.plunge_s, 55.0 / p.scale, what="solenoid pulls"))
        out.append(Load(s_on, s_off, 14.0 / p.scale, what="solenoid holds"))
    return out


def conductance(p: Plan, loads: list[Load], t: Floats) -> Floats:
    """Siemens of all loads at times `t`, sorted."""
    g = np.zeros_like(t)
    nominal = 12.0 * p.scale
    for load in loads:
        a, b = np.searchsorted(t, [load.on_s, load.off_s])
        if a == b:
            continue
        if load.inrush == 1.0 and not load.ripple:
            g[a:b] += load.amps / nominal
            continue
        at = t[a:b] - load.on_s
        shape = 1.0 + (load.inrush - 1.0) * np.exp(-at / load.inrush_s)
        if load.ripple:
            shape = shape * (1.0 + load.ripple * np.sin(2 * np.pi * load.ripple_hz * at))
        g[a:b] += load.amps / nominal * shape
    return g


def starter_gate(p: Plan, t: Floats) -> Floats:
    """0 with the main contacts open, towards 1 as the current builds up, and down within the arc, at times `t`, sorted."""
    g = np.zeros_like(t)
    for c in p.cranks:
        if c.locked_out or c.no_turn:
            continue
        a, b, d = np.searchsorted(t, [c.begin_s, c.end_s, c.end_s + ARC_S])
        g[a:b] = 1.0 - np.exp(-(t[a:b] - c.begin_s) / p.engine.rise_s)
        g[b:d] = 1.0 - (t[b:d] - c.end_s) / ARC_S
    return g


def helper_terms(p: Plan, t: Floats) -> tuple[Floats, Floats]:
    """Conductance and short-circuit current of chargers and jump packs at times `t`, sorted."""
    g, s = np.zeros_like(t), np.zeros_like(t)
    for h in p.helpers:
        a, b = np.searchsorted(t, [h.on_s, h.off_s])
        g[a:b] += 1.0 / h.ohm
        s[a:b] += h.volts / h.ohm
    return g, s


def grid(p: Plan, end_s: float) -> Floats:
    """Steps of 20 ms, of 3 ms around cranks, and every switching moment."""
    parts = [np.arange(0.0, end_s + CALM_STEP_S, CALM_STEP_S)]
    for c in p.cranks:
        tail = 0.25
        parts.append(np.arange(c.begin_s - 0.01, c.end_s + tail, CRANK_STEP_S))
        parts.append(np.array([c.begin_s, c.begin_s + 0.5e-3, c.begin_s + 1e-3, c.end_s, c.end_s + ARC_S]))
    for load in [*p.loads, *p.helpers]:
        parts.append(np.array([x for x in (load.on_s, load.off_s) if 0 < x < end_s]))
    return np.unique(np.concatenate(parts))


def run(p: Plan, end_s: float) -> Plant:
    """Steps through the start."""
    b, e, n = p.battery, p.engine, p.scale
    loads = all_loads(p)
    t = grid(p, end_s)
    g_load = conductance(p, loads, t)
    gate = starter_gate(p, t)
    g_help, s_help = helper_terms(p, t)
    count = len(t)
    w0 = e.crank_rpm * math.pi / 30.0
    v_mean = b.open_v - e.crank_a * (b.r0_ohm + sum(b.polar_ohm))
    ocv_loaded = b.open_v - e.stall_a * b.r0_ohm
    resist = max((ocv_loaded - BRUSH_V * n) / e.stall_a, 0.002)
    counter = max((v_mean - BRUSH_V * n - e.crank_a * resist) / w0, 0.01)
    torque0 = counter * e.crank_a
    inertia = e.mech_s * counter * counter / resist
    free_w = max((11.0 * n - BRUSH_V * n - e.free_a * resist) / counter, w0 * 1.2)
    polar, back, alt, rpm = (np.zeros(count) for _ in range(4))
    first_v = b.open_v
    p1 = first_v * g_load[0] * b.polar_ohm[0]
    p2 = first_v * g_load[0] * b.polar_ohm[1]
    we = ws = 0.0
    theta = e.phase * 4 * math.pi / e.cylinders
    ia = 0.0
    running = False
    runs_from: float | None = None
    runs_until: float | None = None
    fire = [(c.begin_s + c.fires_s, c) for c in p.cranks if c.fires_s is not None]
    idle_w = e.idle_rpm * math.pi / 30.0
    r0, (ra, rb), (ta, tb) = b.r0_ohm, b.polar_ohm, b.polar_s
    brush = BRUSH_V * n
    gl, ga, gh, sh, tl = g_load.tolist(), gate.tolist(), g_help.tolist(), s_help.tolist(), t.tolist()
    built = 0.0
    for i in range(count):
        now = tl[i]
        dt = tl[i + 1] - now if i + 1 < count else CALM_STEP_S
        g = ga[i]
        open_v = b.open_v - p1 - p2
        gs = g / resist
        lift = counter * ws + brush
        v = (open_v + r0 * (gs * lift + sh[i] + ia)) / (1.0 + r0 * (gl[i] + gh[i] + gs))
        if gh[i] and v * gh[i] > sh[i]:  # one-way
            v = (open_v + r0 * (gs * lift + ia)) / (1.0 + r0 * (gl[i] + gs))
        ist = gs * (v - lift)
        if ist < 0.0:
            ist = 0.0
            v = (open_v + r0 * (sh[i] + ia)) / (1.0 + r0 * (gl[i] + gh[i]))
        ib = (open_v - v) / r0
        polar[i], back[i], alt[i], rpm[i] = p1 + p2, counter * ws, ia, we * 30.0 / math.pi
        k = 1.0 if ib > 0 else b.charge_factor
        p1 += (ib * ra * k - p1) * (1.0 - math.exp(-dt / ta))
        p2 += (ib * rb * k - p2) * (1.0 - math.exp(-dt / tb))
        # engine
        while fire and now >= fire[0][0]:
            _, c = fire.pop(0)
            running = True
            runs_from, runs_until = now, None
            tau_up = c.run_up_s
            stall_at = None if c.stalls_s is None else c.end_s + c.stalls_s
            built = 0.0
        if running and stall_at is not None and now > stall_at:
            running, runs_until, stall_at = False, now, None
        if running:
            cough = 1.0 + 0.5 * math.sin(theta * e.cylinders / 2.0)
            we += (idle_w - we) * dt / (tau_up + dt) * cough
            theta += we * dt
            if g > 0:
                if ws < we:  # running free
                    ws += (min(free_w, max(we, free_w)) - ws) * dt / (0.05 + dt)
                else:
                    ws = we
            else:
                ws -= ws * dt / (0.15 + dt)
            if we > 0.7 * idle_w:
                built += dt
        elif g > 0.0 or we > 0.05:
            drag = torque0 * (0.6 + 0.4 * we / w0)
            phase = theta * e.cylinders / (4 * math.pi)
            which = e.weak[int(phase) % e.cylinders]
            x = 2 * math.pi * phase
            leak = 0.3 + 0.7 * min(we / w0, 1.0)  # a cylinder at rest has lost its pressure past the rings
            comp = torque0 * e.comp_depth * which * leak * (math.sin(x) - 0.35 * math.sin(2 * x))
            if g > 0:
                for c in p.cranks:
                    if c.bog and c.bog[0] <= now - c.begin_s < c.bog[1]:
                        drag *= c.bog[2]
            push = counter * ist - drag - comp
            damp = g * counter * counter / (resist + r0) * dt / inertia
            we = max(we + push * dt / inertia / (1.0 + damp), 0.0)
            theta += we * dt
            ws = we if g > 0 else ws - ws * dt / (0.15 + dt)
        # alternator
        a = p.alternator
        if running and a is not None and built > a.delay_s:
            able = a.max_a * min((built - a.delay_s) / a.build_s, 1.0)
            need = (a.set_v * (1.0 + r0 * (gl[i] + gh[i])) - open_v) / r0 - sh[i]
            want = min(max(need, 0.0), able)
            ia += (want - ia) * dt / (0.06 + dt)
        elif ia:
            ia -= ia * dt / (0.2 + dt)
    return Plant(t, polar, back, alt, rpm, resist, runs_from, runs_until)


def battery_at(p: Plan, plant: Plant, t: Floats) -> tuple[Floats, Floats]:
    """Battery volts between its posts and starter amperes at times `t`, sorted, shape (m,)."""
    b = p.battery
    r0 = b.r0_ohm
    polar = np.interp(t, plant.t_s, plant.polar_v)
    lift = np.interp(t, plant.t_s, plant.counter_v) + BRUSH_V * p.scale
    ia = np.interp(t, plant.t_s, plant.alternator_a)
    g = conductance(p, all_loads(p), t)
    gs = starter_gate(p, t) / plant.resist_ohm
    gh, sh = helper_terms(p, t)
    open_v = b.open_v - polar

    def volts(gs: Floats, gh: Floats, sh: Floats) -> Floats:
        return (open_v + r0 * (gs * lift + sh + ia)) / (1.0 + r0 * (g + gh + gs))

    v = volts(gs, gh, sh)
    if p.helpers:
        off = v * gh > sh
        gh, sh = np.where(off, 0.0, gh), np.where(off, 0.0, sh)
        v = volts(gs, gh, sh)
    generating = gs * (v - lift) < 0.0
    if generating.any():
        gs = np.where(generating, 0.0, gs)
        v = volts(gs, gh, sh)
    return v, gs * (v - lift)
