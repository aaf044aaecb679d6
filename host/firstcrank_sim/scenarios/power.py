"""Faults of battery, cables, grounds, starter control, heater, charging and engine, each a builder drawing its numbers."""

from __future__ import annotations

from dataclasses import replace

from firstcrank_sim.vehicle.plan import MINIMAL, Plan, Rng, healthy_plan, with_feed

HEATER_ROLES = (*MINIMAL, "heater_coil", "heater_return")


def battery_weak(rng: Rng) -> Plan:
    """A weak battery takes a good feed down with it."""
    plan = healthy_plan(rng)
    v = plan.vehicle
    total_ohm = v.ohmic_ohm + v.main_ohm
    # The ohmic part that takes the posts to the wanted voltage at the starter's stall current.
    want_v = v.scale * float(rng.uniform(4.6, 6.3))
    rest_v = v.scale * float(rng.uniform(11.7, 12.15))
    ohmic_ohm = v.main_ohm * (rest_v - want_v) / want_v
    ohmic_ohm = max(ohmic_ohm, total_ohm * 0.9)
    weak = replace(v, open_circuit_v=rest_v, ohmic_ohm=ohmic_ohm, polarisation_ohm=(0.35 * ohmic_ohm, 0.3 * ohmic_ohm))
    return replace(plan, vehicle=weak)


def battery_cable(rng: Rng) -> Plan:
    """A poor clamp or cable between battery and starter, from which the key switch is fed too."""
    plan = healthy_plan(rng)
    v = plan.vehicle
    return replace(plan, vehicle=replace(v, post_ohm=v.scale**2 * float(rng.uniform(0.007, 0.014)), feed_after_post=True))


def ground_engine(rng: Rng) -> Plan:
    """A poor strap between engine and battery: the module, grounded on the engine, is lifted while cranking."""
    plan = healthy_plan(rng, roles=(*MINIMAL, "module_ground", "engine_ground"))
    v = plan.vehicle
    vehicle = replace(v, strap_ohm=v.scale**2 * float(rng.uniform(0.006, 0.012)))
    return replace(plan, vehicle=vehicle, wiring=replace(plan.wiring, ground_on_engine=True))


def ground_module(rng: Rng) -> Plan:
    """A poor joint in the module's own ground wire."""
    plan = healthy_plan(rng, roles=(*MINIMAL, "module_ground"))
    scale = plan.vehicle.scale
    ohm = scale * float(rng.uniform(1.4, 2.8)) / plan.wiring.supply_crank_a
    return replace(plan, wiring=replace(plan.wiring, ground_ohm=ohm))


def grounds_good(rng: Rng) -> Plan:
    """All well, with the module's and the engine's ground watched as well."""
    plan = healthy_plan(rng, roles=(*MINIMAL, "module_ground", "engine_ground"))
    return replace(plan, wiring=replace(plan.wiring, ground_on_engine=bool(rng.random() < 0.3)))


def starter_control_drop(rng: Rng) -> Plan:
    """Too much resistance in the starter's control circuit: terminal 50 gets far less than the battery."""
    plan = healthy_plan(rng, roles=(*MINIMAL, "engine_ground"))
    v = plan.vehicle
    ohm = v.pull_in_ohm * float(rng.uniform(0.32, 0.55))
    return replace(plan, vehicle=replace(v, control_ohm=ohm))


def starter_control_good(rng: Rng) -> Plan:
    """All well, with the engine's ground watched so that the starter's control circuit can be judged."""
    return healthy_plan(rng, roles=(*MINIMAL, "engine_ground"))


def heater_good(rng: Rng) -> Plan:
    """All well, a cold start with the intake heater on before the crank."""
    return healthy_plan(rng, heater=True, roles=HEATER_ROLES)


def heater_reversed(rng: Rng) -> Plan:
    """The intake heater's solenoid is wired the wrong way round."""
    plan = heater_good(rng)
    return replace(plan, wiring=replace(plan.wiring, heater=replace(plan.wiring.heater, reversed=True)))


def heater_feed_low(rng: Rng) -> Plan:
    """The heater's solenoid gets too little voltage."""
    plan = heater_good(rng)
    ohm = plan.wiring.heater.coil_ohm * float(rng.uniform(0.35, 0.8))
    return replace(plan, wiring=replace(plan.wiring, heater=replace(plan.wiring.heater, wire_ohm=ohm)))


def heater_loose(rng: Rng) -> Plan:
    """The heater's solenoid chatters: its circuit opens again and again while it is commanded."""
    plan = heater_good(rng)
    begin_s, end_s = plan.schedule.heater_s[0]
    stretches = []
    at_s = begin_s + float(rng.uniform(0.3, 1.0))
    while at_s < end_s - 0.3:
        stretches.append((at_s, at_s + float(10 ** rng.uniform(-1.9, -0.9))))
        at_s += float(rng.uniform(0.3, 1.2))
    return replace(plan, wiring=replace(plan.wiring, heater=replace(plan.wiring.heater, open_s=tuple(stretches))))


def backfeed_after_off(rng: Rng) -> Plan:
    """With the key off and the engine still turning, the charging circuit keeps the module's feed alive."""
    hold_s = float(rng.uniform(0.8, 1.5))
    plan = healthy_plan(rng, runs_on=True, crank_s=float(rng.uniform(1.0, 2.2)), off_after_s=6.8, after_s=10.0)
    s = plan.schedule
    lamp_ohm = plan.wiring.feed.load_ohm * float(rng.uniform(0.08, 0.4))
    plan = with_feed(plan, lamp_ohm=lamp_ohm, lamp_while_running=True)
    schedule = replace(s, end_s=s.off_s + hold_s + 2.0)
    context = replace(plan.context, hold_on_s=hold_s, engine_running=True, cylinders=plan.vehicle.cylinders)
    vehicle = replace(plan.vehicle, runs_after_off=True)
    return replace(plan, vehicle=vehicle, schedule=schedule, context=context)


def off_good(rng: Rng) -> Plan:
    """All well: the engine runs, the key is turned off at the end and the feed goes dead."""
    hold_s = float(rng.uniform(0.8, 1.5))
    plan = healthy_plan(rng, runs_on=True, crank_s=float(rng.uniform(1.0, 2.2)), off_after_s=6.8, after_s=10.0)
    schedule = replace(plan.schedule, end_s=plan.schedule.off_s + hold_s + 2.0)
    context = replace(plan.context, hold_on_s=hold_s, engine_running=True, cylinders=plan.vehicle.cylinders)
    return replace(plan, schedule=schedule, context=context)


def module_supply_drop(rng: Rng) -> Plan:
    """Too much resistance in the module's own supply."""
    plan = healthy_plan(rng, roles=(*MINIMAL, "module_supply"))
    scale = plan.vehicle.scale
    ohm = scale * float(rng.uniform(1.3, 3.0)) / plan.wiring.supply_crank_a
    return replace(plan, wiring=replace(plan.wiring, supply_ohm=ohm))


def module_supply_good(rng: Rng) -> Plan:
    """All well, with the module's own supply watched."""
    return healthy_plan(rng, roles=(*MINIMAL, "module_supply"))


def no_charge(rng: Rng) -> Plan:
    """The engine runs and nothing charges the battery, watched for the minute that an intake heater may cycle."""
    plan = charging(rng)
    schedule = replace(plan.schedule, end_s=plan.schedule.end_s + 57.0)
    return replace(plan, vehicle=replace(plan.vehicle, charge_max_a=0.0), schedule=schedule)


def charging(rng: Rng) -> Plan:
    """All well: the engine starts, runs on and charges."""
    plan = healthy_plan(rng, runs_on=True, crank_s=float(rng.uniform(2.2, 3.0)), after_s=9.0)
    context = replace(plan.context, engine_running=True, cylinders=plan.vehicle.cylinders)
    return replace(plan, context=context)


def slow_crank(rng: Rng) -> Plan:
    """The engine turns too slowly to start: far too stiff for its starter."""
    plan = healthy_plan(rng, crank_s=float(rng.uniform(3.0, 4.5)))
    v = plan.vehicle
    context = replace(plan.context, cylinders=v.cylinders, temperature_c=v.temperature_c)
    stiff = replace(v, friction_nm=v.friction_nm * 1.3 + 30.0, kt=v.kt * float(rng.uniform(2.3, 2.9)))
    return replace(plan, vehicle=stiff, context=context)


def speed_good(rng: Rng) -> Plan:
    """All well, with the number of cylinders told so that the crank speed can be worked out."""
    plan = healthy_plan(rng, crank_s=float(rng.uniform(1.6, 4.5)))
    context = replace(plan.context, cylinders=plan.vehicle.cylinders, temperature_c=plan.vehicle.temperature_c)
    return replace(plan, context=context)


def uneven_compression(rng: Rng) -> Plan:
    """One cylinder compresses less than the others."""
    plan = healthy_plan(rng, crank_s=float(rng.uniform(2.3, 4.5)))
    v = plan.vehicle
    context = replace(plan.context, cylinders=v.cylinders, temperature_c=v.temperature_c)
    weak = tuple(x * (float(rng.uniform(0.35, 0.65)) if i == 1 else 1.0) for i, x in enumerate(v.strength))
    return replace(plan, vehicle=replace(v, strength=weak), context=context)


def healthy_24v(rng: Rng) -> Plan:
    """All well on a 24 V vehicle."""
    return healthy_plan(rng, 24, loaded=rng.random() < 0.3)


def two_batteries(rng: Rng) -> Plan:
    """All well: a second battery behind an isolator supplies the key switch."""
    plan = healthy_plan(rng, roles=(*MINIMAL, "feed_source"))
    return replace(plan, wiring=replace(plan.wiring, second_v=float(rng.uniform(12.35, 12.75))))


def loaded_good(rng: Rng) -> Plan:
    """All well with a feed that carries real current."""
    return healthy_plan(rng, loaded=True)


def runs_on(rng: Rng) -> Plan:
    """The engine catches at once and runs by itself."""
    return healthy_plan(rng, runs_on=True, crank_s=float(rng.uniform(0.9, 1.8)))


def alternator_late(rng: Rng) -> Plan:
    """All well: the alternator builds up 2 to 6 s after the engine runs."""
    plan = charging(rng)
    vehicle = replace(plan.vehicle, charge_after_s=float(rng.uniform(2.0, 6.0)))
    return replace(plan, vehicle=vehicle, schedule=replace(plan.schedule, end_s=plan.schedule.end_s + 3.0))


def heater_goes_on(rng: Rng) -> Plan:
    """All well: the intake heater goes on cycling after the engine has started."""
    plan = charging(rng)
    s, on_s = plan.schedule, plan.schedule.drop_s + float(rng.uniform(0.8, 2.0))
    cycles = []
    for _ in range(2):
        off_s = on_s + float(rng.uniform(2.0, 4.0))
        cycles.append((on_s, off_s))
        on_s = off_s + float(rng.uniform(1.5, 3.0))
    return replace(plan, schedule=replace(s, heater_s=(*s.heater_s, *cycles), end_s=on_s + 1.0))


def quick_start(rng: Rng) -> Plan:
    """All well: a warm engine starts at once, and the user says that it runs."""
    plan = healthy_plan(rng, runs_on=True, crank_s=float(rng.uniform(0.6, 1.4)), warm=True)
    return replace(plan, context=replace(plan.context, engine_running=True, cylinders=plan.vehicle.cylinders))
