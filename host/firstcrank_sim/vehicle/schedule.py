"""When things happen in a start: the key's positions, the starter's contacts, the engine firing, the intake heater."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firstcrank_sim.vehicle.vehicle import Vehicle

NEVER_S = math.inf
AFTER_S = 2.7  # recorded behind the release where the engine does not run
RUN_ON_S = 6.5  # and where it does


@dataclass(frozen=True, slots=True)
class Schedule:
    """Seconds since the recording began.

    `on_s` the key reaches ON; `leave_s` it leaves ON towards START; `start_s` the START contact makes; `engage_s` the
    starter's main contact closes and the inrush begins; `open_s` the START contact opens; `back_s` the key rests in ON
    again; `drop_s` the starter's main contact opens; `fire_s` the engine begins to fire; `off_s` the key goes to OFF.
    `heater_s`: stretches in which the intake heater is energised.
    """

    on_s: float
    leave_s: float
    start_s: float
    engage_s: float
    open_s: float
    back_s: float
    drop_s: float
    end_s: float
    fire_s: float = NEVER_S
    off_s: float = NEVER_S
    heater_s: tuple[tuple[float, float], ...] = ()


def draw_schedule(
    rng: np.random.Generator,
    vehicle: Vehicle,
    crank_s: float | None = None,
    runs_on: bool = False,
    heater: bool = False,
    wait_s: float | None = None,
    off_after_s: float | None = None,
    after_s: float | None = None,
) -> Schedule:
    """A key turned by hand: off, ON, a wait, START held for `crank_s`, back to ON, `off_after_s` later off if given."""
    on_s = float(rng.uniform(1.2, 2.0))
    lamp_s = float(rng.uniform(1.6, 3.0)) if wait_s is None else wait_s
    heaters: list[tuple[float, float]] = []
    if heater:
        begin_s = on_s + float(rng.uniform(0.2, 0.4))
        heat_s = float(rng.uniform(10.0, 14.0))
        heaters.append((begin_s, begin_s + heat_s))
        lamp_s = heat_s + float(rng.uniform(0.8, 1.4))
    leave_s = on_s + lamp_s
    start_s = leave_s + float(rng.uniform(0.05, 0.14))
    engage_s = start_s + float(rng.uniform(0.025, 0.05))
    held_s = float(rng.uniform(2.3, 4.5)) if crank_s is None else crank_s
    open_s = start_s + held_s
    drop_s = open_s + float(rng.uniform(0.008, 0.020))
    back_s = open_s + float(rng.uniform(0.04, 0.12))
    fire_s = open_s - float(rng.uniform(0.15, 0.4)) if runs_on else NEVER_S
    tail_s = (RUN_ON_S if runs_on else AFTER_S) if after_s is None else after_s
    off_s = NEVER_S if off_after_s is None else drop_s + off_after_s
    end_s = drop_s + tail_s if off_after_s is None else max(drop_s + tail_s, off_s + 0.6)
    if runs_on and vehicle.cylinders and fire_s < engage_s + 0.2:
        fire_s = engage_s + 0.2
    return Schedule(on_s, leave_s, start_s, engage_s, open_s, back_s, drop_s, end_s, fire_s, off_s, tuple(heaters))
