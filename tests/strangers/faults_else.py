"""Families of faults beside the feed: battery, cables, module supply and ground, heater, starter control, charging."""

from __future__ import annotations

from numpy.random import Generator

from tests.strangers.draw import around, chance, log_uniform, one_of
from tests.strangers.faults_feed import a_crank, base
from tests.strangers.plan import Drop, Load, Plan


def weak_battery(rng: Generator, seed: int, family: str) -> Plan:
    """The battery itself sinks while cranking: lowest mean of 5 to 10 V, at 24 V of 8 to 20."""
    p = base(rng, seed, family, quick=False)
    b, e = p.battery, p.engine
    low = rng.uniform(4.8, 9.5) * p.scale if p.system_v == 12 else rng.uniform(7.5, 19.0)
    weaker = (b.open_v - low) / (e.crank_a * (b.r0_ohm + sum(b.polar_ohm)))
    b.r0_ohm *= weaker
    b.polar_ohm = (b.polar_ohm[0] * weaker, b.polar_ohm[1] * weaker)
    b.open_v -= rng.uniform(0.0, 0.5) * p.scale
    e.stall_a = min(e.stall_a, 0.85 * b.open_v / b.r0_ohm)
    e.crank_a = min(e.crank_a, e.stall_a / 1.3)
    e.crank_rpm *= rng.uniform(0.5, 0.9)
    e.comp_depth = min(e.comp_depth, 0.85 * max(e.stall_a / e.crank_a - 0.75, 0.3))
    if p.feed.relay:
        p.feed.relay = None
    p.culprits.add("battery_weak")
    p.labels["aimed_v"] = low
    return p


def inrush_dip(rng: Generator, seed: int, family: str) -> Plan:
    """A sound battery, an inrush to 4.5 to 9 V for a few milliseconds: makers' modules ride through it."""
    p = base(rng, seed, family)
    b, e = p.battery, p.engine
    low = rng.uniform(4.5, 9.0) * p.scale
    e.stall_a = (b.open_v - low) / b.r0_ohm
    e.mech_s = rng.uniform(0.03, 0.08)
    c = p.cranks[0]
    # the first current is carried for 1 to 3 ms by a magnetising peak over the turning one
    for crank in p.cranks:
        length = log_uniform(rng, 0.001, 0.008)
        p.loads.append(Load(crank.begin_s, crank.begin_s + length, 0.5 * e.stall_a, what="magnetising"))
    e.stall_a *= 0.75
    e.comp_depth = min(e.comp_depth, 0.85 * max(e.stall_a / e.crank_a - 0.75, 0.3))
    p.culprits.add("inrush")
    p.labels.update(aimed_v=low, first=c.begin_s)
    return p


def cable(rng: Generator, seed: int, family: str) -> Plan:
    """The feed is tapped at the starter's stud and the cable or its clamp is bad: feed and stud sink, the post does not."""
    p = base(rng, seed, family)
    p.feed.source = "stud"
    sag = around(rng, one_of(rng, 1.0, 2.5) * p.scale, spread=4.0)
    p.feed.stud_ohm = sag / p.engine.crank_a
    if chance(rng, 0.6):
        p.record.leads = (*p.record.leads, "feed_source")
    p.feed.relay = None
    p.culprits.add("battery_cable")
    p.labels["sag_v"] = sag
    return p


def module_supply(rng: Generator, seed: int, family: str) -> Plan:
    """The module's own supply drops while cranking: through 0.5 V and through the module's minimum."""
    p = base(rng, seed, family)
    c = p.cranks[a_crank(rng, p)]
    whole = chance(rng, 0.6)
    a, b = (c.begin_s, c.end_s) if whole else (c.begin_s + rng.uniform(0, 0.6) * (c.end_s - c.begin_s), c.end_s)
    if chance(rng, 0.5):
        p.module.supply_faults.append(Drop(a, b, around(rng, 0.5 * p.scale, spread=8.0), edge_s=0.003))
    else:
        minimum = 7.0 if p.system_v == 12 else 10.0
        p.module.supply_faults.append(Drop(a, b, to_v=minimum * rng.uniform(0.7, 1.25), edge_s=0.003))
    p.record.leads = tuple(dict.fromkeys((*p.record.leads, "module_supply")))
    p.culprits.add("module_supply_drop")
    return p


def module_ground(rng: Generator, seed: int, family: str) -> Plan:
    """The module's ground shares the starter's way: its pin rises by 0.05 to 4 V while cranking."""
    p = base(rng, seed, family)
    rise = around(rng, 0.5 * p.scale, spread=8.0)
    p.module.shared_ohm = rise / p.engine.crank_a
    p.record.leads = tuple(dict.fromkeys((*p.record.leads, "module_ground")))
    if chance(rng, 0.4):
        p.record.leads = tuple(dict.fromkeys((*p.record.leads, "module_supply")))
    p.culprits.add("ground_path")
    p.labels["rise_v"] = rise
    return p


def engine_ground(rng: Generator, seed: int, family: str) -> Plan:
    """The strap from block to battery: 0.1 to 5 V while cranking."""
    p = base(rng, seed, family)
    rise = around(rng, 0.7 * p.scale, spread=6.0)
    p.module.strap_ohm = rise / p.engine.crank_a
    p.record.leads = tuple(dict.fromkeys((*p.record.leads, "engine_ground")))
    p.culprits.add("ground_path")
    p.labels["rise_v"] = rise
    return p


def heater_fault(rng: Generator, seed: int, family: str) -> Plan:
    """The intake heater's solenoid reversed, or fed with a drop around the limit."""
    p = base(rng, seed, family, with_heater=True)
    on = p.borders()["key_on"]
    if not any(x.what == "heater" and x.on_s < p.cranks[0].key_start_s for x in p.loads):
        p.loads.append(Load(on + 0.1, p.cranks[0].key_start_s - 0.2, rng.uniform(60, 180) / p.scale, what="heater"))
    p.record.leads = tuple(dict.fromkeys((*p.record.leads, "heater_coil", "heater_return")))
    if chance(rng, 0.5):
        p.heater_reversed = True
        p.culprits.add("heater_reversed")
    else:
        p.heater_drop_v = around(rng, 1.0 * p.scale, spread=6.0)
        p.culprits.add("heater_feed_low")
        p.labels["drop_v"] = p.heater_drop_v
    return p


def starter_control(rng: Generator, seed: int, family: str) -> Plan:
    """The starter's control circuit drops 0.2 to 5 V."""
    p = base(rng, seed, family, lead=True)
    if chance(rng, 0.75):  # both sides are summed, so the minus side has to be there
        p.record.leads = tuple(dict.fromkeys((*p.record.leads, "engine_ground")))
    p.coil_drop_v = around(rng, 1.0 * p.scale, spread=5.0)
    p.culprits.add("starter_control_drop")
    p.labels["drop_v"] = p.coil_drop_v
    return p


def no_charge(rng: Generator, seed: int, family: str) -> Plan:
    """The engine runs and the alternator does nothing, or regulates around a limit."""
    long = chance(rng, 0.4)
    p = base(rng, seed, family, quick=True, reported=True, key_off=chance(rng, 0.5) and not long)
    if chance(rng, 0.6) or p.alternator is None:
        p.alternator = None
    else:
        p.alternator.set_v = rng.uniform(12.8, 15.6) * p.scale
    p.record.end_s += rng.uniform(56.0, 66.0) if long else rng.uniform(0.0, 8.0)  # the obligation asks for 60 s of running
    p.culprits.add("no_charge")
    return p
