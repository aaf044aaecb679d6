"""What a scenario decides before the circuit is solved: the vehicle, the key's schedule, the wiring, and where leads sit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from firstcrank.model.context import Context
from firstcrank.trace import Hole
from firstcrank_sim.vehicle.schedule import Schedule, draw_schedule
from firstcrank_sim.vehicle.vehicle import Vehicle, draw
from firstcrank_sim.vehicle.wiring import Feed, Heater, Wiring

Rng = np.random.Generator
MINIMAL = ("battery", "key_switch", "starter_coil")
ASKED = Context(cranked_with_key=True, module_plugged_in=True)


@dataclass(frozen=True, slots=True)
class Plan:
    """`leads`: role -> point that its clip really touches ("none": off). `ground_off`: the board's ground clip is off.

    `holes`: stretches the board or the link lost. `cause` None: nothing is wrong. `also`: further faults present.
    """

    vehicle: Vehicle
    schedule: Schedule
    wiring: Wiring
    angle: float = 0.0
    roles: tuple[str, ...] = MINIMAL
    context: Context = ASKED
    leads: Mapping[str, str] = field(default_factory=dict)
    ground_off: tuple[tuple[float, float], ...] = ()
    holes: tuple[Hole, ...] = ()
    also: tuple[str, ...] = ()


def healthy_plan(
    rng: Rng,
    system_v: int = 12,
    crank_s: float | None = None,
    runs_on: bool = False,
    heater: bool = False,
    warm: bool = False,
    off_after_s: float | None = None,
    after_s: float | None = None,
    loaded: bool = False,
    roles: tuple[str, ...] = MINIMAL,
) -> Plan:
    """A vehicle with nothing wrong, drawn at random. `loaded`: the feed carries real current, else it is a signal."""
    vehicle = draw(rng, system_v, warm)
    schedule = draw_schedule(rng, vehicle, crank_s, runs_on, heater, off_after_s=off_after_s, after_s=after_s)
    scale = vehicle.scale
    amperes = float(rng.uniform(3.0, 7.0) if loaded else rng.uniform(0.4, 1.6)) / scale
    load_ohm = system_v / amperes
    drop_v = scale * float(rng.uniform(0.03, 0.22))
    feed = Feed(
        load_ohm=load_ohm,
        load_f=float(10 ** rng.uniform(-7.0, -4.7)),
        wire_ohm=drop_v / amperes,
    )
    wiring = Wiring(
        feed=feed,
        heater=Heater(
            coil_ohm=scale**2 * float(rng.uniform(3.0, 5.0)),
            coil_h=scale**2 * float(rng.uniform(0.03, 0.08)),
            wire_ohm=scale**2 * float(rng.uniform(0.05, 0.2)),
            low_side=bool(rng.random() < 0.4),
        ),
        supply_ohm=scale**2 * float(rng.uniform(0.008, 0.028)),
        supply_idle_a=float(rng.uniform(1.0, 2.5)) / scale,
        supply_crank_a=float(rng.uniform(4.0, 8.0)) / scale,
        ground_ohm=scale**2 * float(rng.uniform(0.001, 0.006)),
        suppressed=bool(rng.random() < 0.5),
    )
    context = replace(ASKED, feed_kind="loaded" if loaded else "signal")
    return Plan(vehicle, schedule, wiring, float(rng.uniform(0.0, 4 * np.pi)), roles, context)


def with_feed(plan: Plan, **changes: object) -> Plan:
    """The plan with fields of its key feed changed."""
    return replace(plan, wiring=replace(plan.wiring, feed=replace(plan.wiring.feed, **changes)))  # type: ignore[arg-type]


def feed_open(plan: Plan, *stretches: tuple[float, float]) -> Plan:
    """The plan with the feed's contact open in more stretches."""
    return with_feed(plan, open_s=(*plan.wiring.feed.open_s, *stretches))


def feed_a(plan: Plan) -> float:
    """The feed's current at the nominal voltage, amperes."""
    return plan.vehicle.system_v / plan.wiring.feed.load_ohm


def series_for_drop(plan: Plan, drop_v: float) -> float:
    """Extra series ohm that makes about `drop_v` at 12.4 V (24.8 V) behind the path's own resistance."""
    source_v = 12.4 * plan.vehicle.scale
    return plan.wiring.feed.load_ohm * drop_v / max(source_v - drop_v, 0.2)
