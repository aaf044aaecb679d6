"""The parameters of one vehicle's starting circuit, with the spread that real ones have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Vehicle:
    """Lumped circuit: battery (open circuit, ohmic and polarisation resistance), cables, series DC starter, engine.

    Resistances in ohm, inertia in kg m2 at the crankshaft, torques in N m at the crankshaft, `kt` the starter's torque and
    voltage constant referred to the crankshaft in N m/A = V s/rad.
    """

    system_v: int = 12
    temperature_c: float = 20.0
    open_circuit_v: float = 12.65
    ohmic_ohm: float = 0.006
    polarisation_ohm: float = 0.003
    polarisation_s: float = 0.4
    cable_ohm: float = 0.0016
    starter_ohm: float = 0.010
    kt: float = 0.38
    inertia_kgm2: float = 1.1
    friction_nm: float = 70.0
    compression_nm: float = 130.0
    cylinders: int = 6
    uneven: float = 0.0  # share by which one cylinder's compression is weaker
    feed_ohm: float = 0.06
    feed_load_a: float = 1.2
    key_on_load_a: float = 6.0
    solenoid_drop_v: float = 0.35
    charge_v: float = 14.1

    @property
    def scale(self) -> float:
        """1 for 12 V, 2 for 24 V."""
        return self.system_v / 12.0


def typical(rng: np.random.Generator, system_v: int = 12) -> Vehicle:
    """A healthy vehicle drawn at random: -25 to 35 degC, 3 to 8 cylinders.

    Common practice, no source: a cold battery's resistance about doubles from 25 to -20 degC, cold oil more than doubles the
    friction. A battery suits its engine: its size follows the load.
    """
    temperature_c = float(rng.uniform(-25.0, 35.0))
    cold = (25.0 - temperature_c) / 50.0
    cylinders = int(rng.choice([3, 4, 5, 6, 8]))
    size = cylinders / 6.0
    scale = system_v / 12.0
    power = scale**2  # at twice the voltage the same power needs four times the resistance
    return Vehicle(
        system_v=system_v,
        temperature_c=temperature_c,
        open_circuit_v=scale * float(rng.uniform(12.45, 12.75)),
        ohmic_ohm=power * float(rng.uniform(0.0042, 0.0058)) * (1.0 + 0.5 * max(cold, 0.0)) / size**0.5,
        polarisation_ohm=power * float(rng.uniform(0.0012, 0.0025)) * (1.0 + 0.5 * max(cold, 0.0)) / size**0.5,
        polarisation_s=float(rng.uniform(0.2, 0.8)),
        cable_ohm=power * float(rng.uniform(0.0010, 0.0018)),
        starter_ohm=power * float(rng.uniform(0.010, 0.013)) / size**0.5,
        kt=scale * float(rng.uniform(0.30, 0.40)),
        inertia_kgm2=float(rng.uniform(0.7, 1.3)) * size,
        friction_nm=float(rng.uniform(45.0, 70.0)) * size * (1.0 + 0.5 * max(cold, 0.0)),
        compression_nm=float(rng.uniform(110.0, 170.0)) * (0.4 + 0.6 * size),
        cylinders=cylinders,
        feed_ohm=scale * float(rng.uniform(0.02, 0.12)),
        feed_load_a=float(rng.uniform(0.5, 1.5)),
        key_on_load_a=float(rng.uniform(3.0, 9.0)) / scale,
        solenoid_drop_v=scale * float(rng.uniform(0.2, 0.5)),
        charge_v=scale * float(rng.uniform(13.8, 14.4)),
    )
