"""A sound vehicle and an ordinary first start, drawn: what every family begins with.

Figures: battery, cranking volts and currents by the published values named beside each; times of quick starts as nine public
engine logs of a small diesel show them (0.6 to 1.5 s from turning to running by itself, alternator late).
"""

from __future__ import annotations

import math

from numpy.random import Generator

from tests.strangers.draw import chance, log_uniform, one_of
from tests.strangers.plan import (
    OFF,
    ON,
    START,
    AlternatorPlan,
    BatteryPlan,
    CrankPlan,
    EnginePlan,
    FeedPlan,
    Load,
    ModulePlan,
    Plan,
    Recording,
    RelayPlan,
)

NEVER = 1e9


def battery(rng: Generator, system_v: int) -> BatteryPlan:
    """Open-circuit 12.1 to 12.75 V (BCI table: 12.06 V a quarter, 12.65 V full).

    Ohmic 3.5 to 8 mohm at 12 V: about half of (12.6 - 7.2) V over 500 to 900 A of cold cranking current, for a battery that is
    not at -18 degC (calculated from SAE J537's test). Polarisation 0.1 to 0.45 of it in each of two time constants of
    0.3 to 1.2 and 1.2 to 4 s: common practice of battery models, no single source. (At cold-cranking current a starter battery
    loses some tenths of a volt more in ten seconds than the three to five of the first moment.)
    """
    n = system_v / 12.0
    r0 = rng.uniform(0.0035, 0.008) * n
    return BatteryPlan(
        open_v=rng.uniform(12.1, 12.75) * n,
        r0_ohm=r0,
        polar_ohm=(r0 * rng.uniform(0.1, 0.45), r0 * rng.uniform(0.1, 0.45)),
        polar_s=(log_uniform(rng, 0.3, 1.2), log_uniform(rng, 1.2, 4.0)),
        charge_factor=rng.uniform(3.0, 6.0),
    )


def engine(rng: Generator, b: BatteryPlan, system_v: int) -> EnginePlan:
    """Three to eight cylinders at 90 to 260 rpm; the current by the sag it makes: 2.2 to 5 V of 12 V at most while turning.

    Diesels at 10 to 27 degC sit at 8 to 10 V (TM 5-3895-382-24 table 29); a lift truck's draws 180 to 220 A
    (TM 10-3930-671-24). Inrush is two to three times the mean: common practice.
    """
    cylinders = int(one_of(rng, 3, 4, 4, 5, 6, 6, 8))
    n = system_v / 12.0
    sag = rng.uniform(2.2, 5.0) * n * (0.8 if b.open_v < 12.3 * n else 1.0)
    crank_a = sag / (b.r0_ohm + sum(b.polar_ohm))
    # A sound battery keeps the inrush above 7.25 V where the module's minimum is 7 V; deeper ones are a family of their own.
    most_a = (b.open_v - rng.uniform(7.25, 8.2) * n) / b.r0_ohm
    stall_a = min(crank_a * rng.uniform(1.9, 2.8), most_a)
    crank_a = min(crank_a, stall_a / rng.uniform(1.25, 1.7))
    weak = [1.0 + rng.normal(0, 0.04) for _ in range(cylinders)]
    if chance(rng, 0.12):
        weak[int(rng.integers(cylinders))] = rng.uniform(0.2, 0.7)
    return EnginePlan(
        cylinders=cylinders,
        crank_rpm=rng.uniform(90, 260),
        crank_a=crank_a,
        stall_a=stall_a,
        rise_s=rng.uniform(0.002, 0.008) / 2.2,  # ten to ninety per cent in 2 to 8 ms
        mech_s=log_uniform(rng, 0.05, 0.16),
        comp_depth=min(rng.uniform(0.5, 1.5), 0.85 * (stall_a / crank_a - 0.75)),
        weak=tuple(weak),
        free_a=rng.uniform(60, 130) / n,  # no-load: 130 A at 11.5 V at most, TM 5-3895-382-24
        idle_rpm=rng.uniform(700, 1000),
        phase=rng.uniform(0, 1),
    )


def feed(rng: Generator, system_v: int, loaded: bool) -> FeedPlan:
    """Wire and contacts of 10 to 250 mohm for a signal feed; a loaded one carries amperes and may lose little.

    The module's input: 0.1 to 4.7 uF behind some ohms against 1 to 22 kohm, and other things on the same wire, so
    1 to 100 ms from off to nothing: from memory of module input circuits, no source.
    """
    n = system_v / 12.0
    if loaded:
        amps = rng.uniform(2.0, 8.0)
        wire = rng.uniform(0.03, 0.25) * n / amps
    else:
        amps = rng.uniform(0.01, 0.6)
        wire = rng.uniform(0.01, 0.25)
    decay = log_uniform(rng, 0.0008, 0.1 if chance(rng, 0.3) else 0.02)
    return FeedPlan(wire, amps, log_uniform(rng, 1e-5, 2e-4), decay, loaded=loaded)


def relay(rng: Generator, system_v: int) -> RelayPlan:
    """A small automotive relay: operates at 6.9 V or less, lets go at 1.2 V or more, 5 and 3 ms (TE V23076A3001)."""
    n = system_v / 12.0
    return RelayPlan(
        pull_v=rng.uniform(5.0, 6.9) * n,
        hold_v=rng.uniform(1.2, 3.5) * n,
        coil_s=rng.uniform(0.002, 0.008),
        operate_s=rng.uniform(0.003, 0.008),
        release_s=rng.uniform(0.002, 0.006),
        bounces=int(rng.integers(0, 5)),
    )


def module(rng: Generator, system_v: int) -> ModulePlan:
    """Supply loop well under 50 mohm (24 V: 100, Perkins 1200F E&E p. 36); 1 to 12 A while cranking."""
    n = system_v / 12.0
    return ModulePlan(
        supply_ohm=rng.uniform(0.005, 0.02) * n,
        ground_ohm=rng.uniform(0.002, 0.01) * n,
        amps=rng.uniform(1.0, 9.0),
        strap_ohm=rng.uniform(0.0001, 0.0004) * n * n,  # 0.2 V at 500 A: NAVEDTRA 14050, one cable
        shared_ohm=0.0,
    )


def alternator(rng: Generator, system_v: int) -> AlternatorPlan:
    """13 V is reached 2 to 4 s after the start in nine public logs: excitation late, then a ramp; 13.8 to 14.5 V."""
    n = system_v / 12.0
    total = rng.uniform(1.5, 6.0)
    delay = total * rng.uniform(0.2, 0.7)
    return AlternatorPlan(delay, total - delay, rng.uniform(60, 130), rng.uniform(13.8, 14.5) * n)


def heater(
    rng: Generator, system_v: int, key_on_s: float, start_s: float, crank_s: float, after_s: float, end_s: float
) -> list[Load]:
    """An intake heater of 60 to 200 A: before the crank, at times through it, then cycling after it for up to a minute.

    One public truck log: wait lamp 5 s with the battery pulled to 10.35 V, off 17 ms before turning; another: 11.3 to 12.4 V
    cycling for 10 s after the start.
    """
    amps = rng.uniform(60, 200) / (system_v / 12.0)
    out: list[Load] = []
    on = key_on_s + rng.uniform(0.02, 0.3)
    kind = one_of(rng, "before", "before", "through", "after only")
    if kind == "before":
        out.append(Load(on, start_s - rng.choice([0.017, 0.1, 0.5]) * rng.uniform(0.3, 1.5), amps, what="heater"))
    elif kind == "through":
        out.append(Load(on, crank_s + rng.uniform(0.1, 2.0), amps, what="heater"))
    if kind != "before" or chance(rng, 0.6):
        period = log_uniform(rng, 1.0, 12.0)
        share = rng.uniform(0.3, 0.7)
        t = max(after_s + rng.uniform(0.05, 3.0), out[-1].off_s + 0.3 if out else 0.0)
        stop = after_s + log_uniform(rng, 8, 60)
        while t < min(end_s, stop):
            out.append(Load(t, t + period * share, amps, what="heater"))
            t += period
    return [load for load in out if load.off_s > load.on_s + 0.02]


def sound_start(
    rng: Generator,
    seed: int,
    family: str,
    *,
    quick: bool = False,
    lead: bool | None = None,
    with_heater: bool | None = None,
    cranks: int | None = None,
    system_v: int | None = None,
    delivery: str | None = None,
    runs: bool | None = None,
    key_off: bool | None = None,
    reported: bool | None = None,
) -> Plan:
    """A healthy start. What is not given is drawn."""
    if system_v is None:
        system_v = 24 if chance(rng, 0.2) else 12
    b = battery(rng, system_v)
    e = engine(rng, b, system_v)
    loaded = chance(rng, 0.2)
    f = feed(rng, system_v, loaded)
    if chance(rng, 0.15):
        f.relay = relay(rng, system_v)
    if cranks is None:
        cranks = int(rng.choice([1, 1, 1, 1, 2, 3]))
    if runs is None:
        runs = quick or chance(rng, 0.6)
    with_heater = chance(rng, 0.3) if with_heater is None else with_heater
    key: list[tuple[float, str]] = []
    plan_cranks: list[CrankPlan] = []
    key_on = rng.uniform(1.0, 2.5)
    key.append((key_on, ON))
    wait = rng.uniform(2.0, 7.0) if with_heater else rng.uniform(0.4, 3.0)
    t = key_on + wait
    for n in range(cranks):
        last = n == cranks - 1
        c = one_crank(rng, t, quick and last, runs and last, multi=cranks > 1)
        plan_cranks.append(c)
        key += [(c.key_start_s, START), (c.key_end_s, ON)]
        if last:
            break
        if chance(rng, 0.4):
            off = c.key_end_s + (rng.uniform(2.3, 4.0) if chance(rng, 0.8) else rng.uniform(0.6, 2.2))
            on = off + rng.uniform(0.8, 2.5)
            key += [(off, OFF), (on, ON)]
            t = on + rng.uniform(0.5, 2.0)
        else:
            t = c.key_end_s + rng.uniform(1.5, 4.0)
    c = plan_cranks[-1]
    after = rng.uniform(6.5, 11.0) if runs else rng.uniform(3.0, 6.0)
    end = c.key_end_s + after
    if key_off is None:
        key_off = chance(rng, 0.5)
    if key_off:
        key.append((end, OFF))
        end += rng.uniform(1.0, 2.5)
    a = alternator(rng, system_v) if runs else None
    lead = chance(rng, 0.75) if lead is None else lead
    leads = ["battery", "key_switch"] + (["starter_coil"] if lead else [])
    record = Recording(rng.uniform(0.0, 0.05), end, delivery=delivery or how(rng), leads=tuple(leads))
    record.rate_hz = float(rng.choice([1500.0, 2000.0, 4000.0, 5000.0, 10000.0, 20000.0], p=[0.1, 0.3, 0.28, 0.2, 0.1, 0.02]))
    p = Plan(seed, family, system_v, b, e, plan_cranks, key, f, module(rng, system_v), a, record)
    p.coil_drop_v = rng.uniform(0.1, 0.35) * p.scale
    if with_heater:
        p.loads += heater(rng, system_v, key_on, plan_cranks[0].key_start_s, c.begin_s, c.end_s, end)
        p.labels["heater"] = True
    if chance(rng, 0.3):
        p.loads.append(Load(-1.0, NEVER, rng.uniform(2, 12), what="parked load"))
    more_leads(rng, p)
    answers(rng, p, runs=runs, reported=reported)
    if quick:
        p.labels["quick"] = True
    if not lead:
        p.labels["no lead"] = True
    return p


def one_crank(rng: Generator, t: float, quick: bool, fires: bool, multi: bool) -> CrankPlan:
    """A turn to START at `t`: a quick start, a longer one that fires late, or one that does not fire."""
    relay_s = rng.uniform(0.005, 0.015)  # starter relay: 5 to 15 ms, relay data sheets
    plunge = rng.uniform(0.02, 0.06)  # solenoid's travel: from memory
    out = rng.uniform(0.005, 0.025)
    if quick:
        fires_s = rng.uniform(0.5, 1.4)
        held = fires_s + (rng.uniform(-0.02, 0.1) if chance(rng, 0.4) else rng.uniform(0.1, 0.5))
    elif fires:
        fires_s = rng.uniform(2.2, 4.0)
        held = fires_s + rng.uniform(0.0, 0.8)
    else:
        fires_s = None
        held = rng.uniform(2.15, 3.2) if multi else rng.uniform(2.2, 5.5)
    c = CrankPlan(t, t + relay_s + plunge + held, fires_s, rng.uniform(0.25, 0.7), None, relay_s, plunge, out)
    if chance(rng, 0.08):
        begin = rng.uniform(0.3, 0.8) * held
        c.bog = (begin, begin + rng.uniform(0.2, 0.8), rng.uniform(1.15, 1.5))
    return c


def how(rng: Generator) -> str:
    """Board mostly, a logger's CSV at times, the board's own frames at times."""
    return str(rng.choice(["board", "csv", "frames"], p=[0.74, 0.18, 0.08]))


def more_leads(rng: Generator, p: Plan) -> None:
    """Leads beyond the three, now and then."""
    extra = []
    if chance(rng, 0.12):
        extra.append("module_ground")
    if chance(rng, 0.12):
        extra.append("module_supply")
    if chance(rng, 0.08):
        extra.append("engine_ground")
    if p.labels.get("heater") and chance(rng, 0.3):
        extra += ["heater_coil", "heater_return"] if chance(rng, 0.5) else ["heater_coil"]
    p.record.leads = tuple(dict.fromkeys((*p.record.leads, *extra)))


def bounces(rng: Generator, p: Plan) -> None:
    """Contacts of a sound ignition switch bounce at every move: up to four openings of 20 us to 0.5 ms within 3 ms.

    Makers' data for new snap contacts say some milliseconds; the single openings are short. Common practice, no source.
    """
    from tests.strangers.plan import Cut

    for t, position in p.key:
        count = int(rng.integers(0, 5))
        # switched off it opens for good at t; before that it opens and makes again
        first, last = (t - 0.0032, t - 0.0005) if position == OFF else (t + 0.00005, t + 0.003)
        starts = sorted(rng.uniform(first, last, count))
        for s in starts:
            p.feed.cuts.append(Cut(s, s + log_uniform(rng, 2e-5, 4e-4)))


def answers(rng: Generator, p: Plan, runs: bool, reported: bool | None) -> None:
    """What the person said. Nobody is asked in a third of the starts; then only what is seen counts."""
    given = p.record.answers
    given["feed_kind"] = "loaded" if p.feed.loaded else "signal"
    asked = chance(rng, 0.67)
    if asked:
        given["cranked_with_key"] = True
        given["module_plugged_in"] = True
        given["charger_connected"] = False
    if reported or (reported is None and runs and asked and chance(rng, 0.8)):
        given["engine_running"] = runs
    if chance(rng, 0.5):
        given["cylinders"] = p.engine.cylinders


def longest_decay_s(p: Plan) -> float:
    """Time until an open feed has fallen to a fifth."""
    return p.feed.decay_s * math.log(5.0)
