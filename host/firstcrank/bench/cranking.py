"""The battery's voltage through a start, from the circuit: series DC motor, battery, compression torque. Solved by SciPy.

States: crank angle, crank speed, polarisation voltage, starter current. The starter is a series circuit with a small
inductance; its torque and back-voltage constant rise with current until the iron saturates (textbook DC series machine).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from firstcrank.bench.vehicle import Vehicle
from firstcrank.trace import FloatArray

INDUCTANCE_H = 4e-5  # 12 V; a few hundred amperes build up within milliseconds
SATURATION_A = 250.0
STEP_S = 0.0005


@dataclass(frozen=True, slots=True)
class Cranking:
    """Curves over `at_s` (shape (n,), from starter engagement): battery volts at the post, starter amperes, speed in rpm."""

    at_s: FloatArray
    battery_v: FloatArray
    starter_a: FloatArray
    speed_rpm: FloatArray

    def mean_rpm(self, from_s: float, to_s: float) -> float:
        """Mean speed by turned angle over a stretch."""
        inside = (self.at_s >= from_s) & (self.at_s <= to_s)
        return float(self.speed_rpm[inside].mean())


def crank(vehicle: Vehicle, duration_s: float, other_load_a: float, phase: float = 0.0) -> Cranking:
    """Solves the start for `duration_s` with the starter engaged; `other_load_a` flows besides, `phase` turns the engine."""
    total_ohm = vehicle.ohmic_ohm + vehicle.cable_ohm + vehicle.starter_ohm
    scale = vehicle.scale

    def slope(_: float, state: FloatArray) -> list[float]:
        angle, speed, polarised_v, current = state
        field = current / (current + SATURATION_A / scale) if current > 0 else 0.0
        k = vehicle.kt * 2.0 * field
        emf_v = vehicle.open_circuit_v - polarised_v - other_load_a * vehicle.ohmic_ohm
        current_slope = (emf_v - k * speed - current * total_ohm) / (INDUCTANCE_H * scale**2)
        torque = k * max(current, 0.0) - load_torque(vehicle, angle, speed)
        speed_slope = torque / vehicle.inertia_kgm2
        if speed <= 0 and speed_slope < 0:
            speed_slope = 0.0
        polarised = ((current + other_load_a) * vehicle.polarisation_ohm - polarised_v) / vehicle.polarisation_s
        return [max(speed, 0.0), speed_slope, polarised, current_slope]

    at_s = np.arange(0.0, duration_s + STEP_S, STEP_S)
    solved = solve_ivp(
        slope, (0.0, float(at_s[-1])), [phase, 0.0, 0.0, 0.0], t_eval=at_s, method="LSODA", rtol=1e-5, atol=1e-6, max_step=0.01
    )
    _, speed, polarised_v, current = solved.y
    battery_v = vehicle.open_circuit_v - polarised_v - (current + other_load_a) * vehicle.ohmic_ohm
    return Cranking(at_s, battery_v, current, speed * 30.0 / np.pi)


def load_torque(vehicle: Vehicle, angle: float, speed: float) -> float:
    """Friction plus compression: each cylinder pushes back before its top dead centre and gives part of it back after.

    Four-stroke: one compression per cylinder every two turns, evenly spaced.
    """
    firing = 4.0 * np.pi / vehicle.cylinders
    which = int(angle // firing) % vehicle.cylinders
    within = (angle % firing) / firing
    strength = vehicle.compression_nm * (1.0 - vehicle.uneven if which == 0 else 1.0)
    hump = np.sin(2.0 * np.pi * within)
    pushed = strength * (hump if hump > 0 else 0.75 * hump)
    return float(vehicle.friction_nm * (0.7 + 0.3 * min(speed / 15.0, 1.5)) * min(speed / 0.5, 1.0) + pushed)
