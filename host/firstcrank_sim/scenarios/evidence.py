"""Starts that prove nothing, because of what was done or where the leads sit: none of them may pass."""

from __future__ import annotations

from dataclasses import replace

from firstcrank.trace import Hole
from firstcrank_sim.scenarios.feed import in_crank
from firstcrank_sim.vehicle.plan import Plan, Rng, feed_open, healthy_plan, with_feed
from firstcrank_sim.vehicle.schedule import NEVER_S


def heater_only(rng: Rng) -> Plan:
    """The intake heater draws the battery down and nobody cranks."""
    return no_start(healthy_plan(rng, heater=True))


def key_only(rng: Rng) -> Plan:
    """The key is turned ON and nobody cranks."""
    return no_start(healthy_plan(rng))


def no_start(plan: Plan) -> Plan:
    """The plan without its crank."""
    s = plan.schedule
    end_s = s.leave_s + 3.0
    later = replace(s, leave_s=end_s, start_s=end_s, engage_s=end_s, open_s=end_s, back_s=end_s, drop_s=end_s, end_s=end_s)
    return replace(plan, schedule=later)


def key_never_off(rng: Rng) -> Plan:
    """The recording begins with the key already ON."""
    plan = healthy_plan(rng)
    return replace(plan, schedule=replace(plan.schedule, on_s=0.0))


def bumped_key_off(rng: Rng) -> Plan:
    """The starter is bumped with the key off."""
    return feed_open(healthy_plan(rng), (0.0, NEVER_S))


def one_sweep(rng: Rng) -> Plan:
    """From OFF to START in one sweep: KEY ON before the crank was never seen."""
    plan = healthy_plan(rng)
    s = plan.schedule
    on_s = s.start_s - float(rng.uniform(0.03, 0.12))
    return replace(plan, schedule=replace(s, on_s=on_s, leave_s=max(on_s, s.leave_s)))


def remote_switch(rng: Rng) -> Plan:
    """Cranked by a remote switch with KEY ON."""
    plan = healthy_plan(rng)
    return replace(plan, context=replace(plan.context, cranked_with_key=False))


def starter_bridged(rng: Rng) -> Plan:
    """Cranked by bridging the starter: terminal 50 stays dead."""
    plan = healthy_plan(rng)
    return replace(plan, wiring=replace(plan.wiring, coil_dead=True))


def short_crank(rng: Rng) -> Plan:
    """Cranked too briefly to say anything."""
    return healthy_plan(rng, crank_s=float(rng.uniform(0.6, 1.6)))


def stopped_early(rng: Rng) -> Plan:
    """Recording ended before 2 s after the release."""
    return healthy_plan(rng, after_s=float(rng.uniform(0.2, 1.6)))


def clip_moved(rng: Rng) -> Plan:
    """The board's ground clip comes off for a moment while cranking."""
    plan = healthy_plan(rng)
    at_s = in_crank(rng, plan, 0.5)
    return replace(plan, ground_off=((at_s, at_s + float(rng.uniform(0.05, 0.4))),))


def bins_lost(rng: Rng) -> Plan:
    """The link lost bins in the middle of the crank."""
    plan = healthy_plan(rng)
    at_s = in_crank(rng, plan, 0.5)
    return replace(plan, holes=(Hole(at_s, at_s + float(rng.uniform(0.004, 0.5)), "the link lost bins"),))


def module_unplugged(rng: Rng) -> Plan:
    """The engine module is not plugged in."""
    plan = with_feed(healthy_plan(rng), load_ohm=100e3, load_f=1e-9)
    return replace(plan, context=replace(plan.context, module_plugged_in=False))


def dead_lead(rng: Rng) -> Plan:
    """The key lead is not on the feed."""
    return replace(healthy_plan(rng), leads={"key_switch": "none"})


def leads_exchanged(rng: Rng) -> Plan:
    """Battery and key leads are exchanged."""
    return replace(healthy_plan(rng), leads={"battery": "key_switch", "key_switch": "battery"})


def both_on_battery(rng: Rng) -> Plan:
    """The key lead sits on the battery post."""
    return replace(healthy_plan(rng), leads={"key_switch": "battery"})


def back_fed(rng: Rng) -> Plan:
    """With the key off the feed is held up through a lamp."""
    plan = healthy_plan(rng)
    return with_feed(plan, lamp_ohm=plan.wiring.feed.load_ohm * float(rng.uniform(0.35, 1.2)))
