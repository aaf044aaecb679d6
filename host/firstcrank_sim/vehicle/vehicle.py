"""The numbers of one vehicle's starting circuit, and the spread that real ones have.

Resistances in ohm, inertia in kg m2 and torques in N m at the crankshaft, `kt` in N m/A = V s/rad at the crankshaft.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank_sim.vehicle.battery import internal_ohm, open_circuit_v
from firstcrank_sim.vehicle.conductor import copper_ohm

CYLINDERS = (3, 4, 5, 6, 8)


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A lumped starting circuit.

    Battery: `open_circuit_v`, `ohmic_ohm`, then two polarisation branches. `strap_ohm` battery negative post to engine
    block, `cable_ohm` positive post to starter. `post_ohm` is a poor clamp on the positive post, which the starter, its
    solenoid and the key switch share where `feed_after_post` is set. `strength` has one factor per cylinder.
    `runs_after_off`: the module stays alive with the key off, so the engine does not stop.
    """

    system_v: int = 12
    temperature_c: float = 20.0
    cylinders: int = 6
    open_circuit_v: float = 12.6
    ohmic_ohm: float = 0.0045
    polarisation_ohm: tuple[float, float] = (0.0012, 0.0008)
    polarisation_s: tuple[float, float] = (0.15, 6.0)
    cable_ohm: float = 0.0009
    strap_ohm: float = 0.0006
    post_ohm: float = 0.0
    feed_after_post: bool = False
    starter_ohm: float = 0.0075
    starter_h: float = 6e-5
    kt: float = 0.30
    free_a: float = 70.0
    inertia_kgm2: float = 1.8
    friction_nm: float = 55.0
    compression_nm: float = 130.0
    strength: tuple[float, ...] = (1.0,) * 8
    load_off_a: float = 0.02
    load_on_a: float = 6.0
    idle_rpm: float = 780.0
    runs_after_off: bool = False
    charge_v: float = 14.2
    charge_ohm: float = 0.02
    charge_max_a: float = 80.0
    charge_after_s: float = 0.0
    pull_in_ohm: float = 0.18
    hold_ohm: float = 0.85
    solenoid_h: float = 0.0015
    control_ohm: float = 0.008
    heater_ohm: float = 0.11
    heater_wire_ohm: float = 0.004

    @property
    def scale(self) -> float:
        """1 for a 12 V system, 2 for 24 V."""
        return self.system_v / 12.0

    @property
    def main_ohm(self) -> float:
        """Everything in the starter's loop but the battery."""
        return self.post_ohm + self.cable_ohm + self.strap_ohm + self.starter_ohm


def draw(rng: np.random.Generator, system_v: int = 12, warm: bool = False) -> Vehicle:
    """A healthy vehicle at random: -25 to 35 degC, 3 to 8 cylinders, a battery and cables that suit the engine.

    Common practice, no source: cold oil about triples the friction from 35 to -25 degC. A 24 V starter of the same power
    has half the current, so twice the torque per ampere and four times the resistance.
    """
    temperature_c = float(rng.uniform(10.0 if warm else -25.0, 35.0))
    cylinders = int(rng.choice(CYLINDERS))
    scale = system_v / 12.0
    size = (cylinders / 6.0) ** 0.7
    charge = float(rng.uniform(0.72, 1.0))
    climate = 1.0 + 0.55 * max(10.0 - temperature_c, 0.0) / 35.0  # who cranks in the cold has bought a bigger battery
    cold_crank_a = float(rng.uniform(520.0, 900.0)) * climate * size / scale
    battery_ohm = internal_ohm(cold_crank_a, temperature_c, charge, scale)
    viscous = float(np.exp(0.018 * (20.0 - temperature_c)))
    cable_m = float(rng.uniform(1.2, 3.0))
    area_mm2 = float(rng.choice([50.0, 70.0, 95.0]))
    power = scale**2
    return Vehicle(
        system_v=system_v,
        temperature_c=temperature_c,
        cylinders=cylinders,
        open_circuit_v=scale * open_circuit_v(charge, temperature_c),
        ohmic_ohm=0.68 * battery_ohm,
        polarisation_ohm=(0.18 * battery_ohm, 0.14 * battery_ohm),
        polarisation_s=(_log_uniform(rng, 0.08, 0.5), _log_uniform(rng, 0.5, 10.0)),
        cable_ohm=copper_ohm(cable_m, area_mm2, temperature_c) + 0.0002,
        strap_ohm=copper_ohm(float(rng.uniform(0.4, 1.2)), area_mm2, temperature_c) + 0.0002,
        starter_ohm=power * float(rng.uniform(0.0065, 0.0085)) / size * (1.0 + 0.003 * (temperature_c - 20.0)),
        starter_h=power * float(rng.uniform(4e-5, 9e-5)),
        kt=scale * float(rng.uniform(0.29, 0.37)),
        free_a=float(rng.uniform(50.0, 90.0)) / scale,
        inertia_kgm2=float(rng.uniform(1.3, 2.4)) * size,
        friction_nm=float(rng.uniform(32.0, 48.0)) * size * viscous,
        compression_nm=float(rng.uniform(90.0, 150.0)),
        strength=tuple(float(x) for x in rng.normal(1.0, 0.012, 8)),
        load_on_a=float(rng.uniform(3.0, 9.0)) / scale,
        idle_rpm=float(rng.uniform(680.0, 900.0)),
        charge_v=scale * float(rng.uniform(13.9, 14.4)) * (1.0 + 0.0005 * (20.0 - temperature_c)),
        charge_ohm=power * float(rng.uniform(0.01, 0.03)),
        charge_max_a=float(rng.uniform(60.0, 120.0)) / scale,
        pull_in_ohm=power * float(rng.uniform(0.16, 0.24)),
        hold_ohm=power * float(rng.uniform(0.7, 1.1)),
        solenoid_h=power * float(rng.uniform(0.001, 0.002)),
        control_ohm=power * float(rng.uniform(0.004, 0.010)),
        heater_ohm=power * float(rng.uniform(0.09, 0.16)),
        heater_wire_ohm=power * float(rng.uniform(0.0015, 0.005)),
    )


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Between the two, every decade as likely as the next."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))
