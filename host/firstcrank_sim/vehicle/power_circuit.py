"""Battery, cables, starter, engine and alternator through a start, as differential equations solved by SciPy.

Many starts are solved at once: each runs through the same four segments (key off, key on, cranking, after), each segment on
its own length, so that one call of the solver steps through all of them together.

States: starter current, crank speed, crank angle, two polarisation voltages. The starter is a DC motor with constant field:
L di/dt = v - R i - kt w, torque kt (i - i_free) through an overrunning clutch. Compression works on the crank by cylinder
pressure: p ~ V^-1.3 (polytropic), torque ~ p sin(angle). Battery volts follow by Kirchhoff's law from the states.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from scipy.integrate import solve_ivp

from firstcrank.trace import FloatArray
from firstcrank_sim.vehicle.schedule import Schedule
from firstcrank_sim.vehicle.vehicle import Vehicle
from firstcrank_sim.vehicle.waveform import STEP_S

STATES = 5
CURRENT, SPEED, ANGLE, FAST, SLOW = range(STATES)
GRID_S = (0.02, 0.01, 0.0005, 0.001)
LONGEST_STEP_S = (0.5, 0.1, 0.008, 0.02)
COMPRESSION_RATIO = 17.0
POLYTROPIC = 1.3  # textbook: between isothermal and adiabatic, with heat lost to cold walls
EXPANSION_SHARE = 0.8  # what leakage and heat leave of the work given back
SMOOTH_RPM = (350.0, 550.0)  # above, the flywheel hides single compressions
HEATERS = 8
BUILT_UP_S = 0.5  # from no field to the set voltage, once the alternator excites itself (common practice, no source)
CHARGE_SHARE = 8.0  # a battery takes charge far less readily than it gives (common practice, no source)


def _compression_profile(points: int = 4096) -> FloatArray:
    """Torque against rotation of one cylinder over its cycle of 4 pi, peak 1, top dead centre at half of it."""
    angle = np.linspace(-2 * np.pi, 2 * np.pi, points, endpoint=False)
    volume = 1.0 + (COMPRESSION_RATIO - 1.0) / 2.0 * (1.0 - np.cos(angle))
    pressure = (COMPRESSION_RATIO / volume) ** POLYTROPIC - 1.0
    torque = -pressure * np.sin(angle) * (np.abs(angle) < np.pi)
    torque = torque / torque.max()
    return np.asarray(np.where(torque < 0, EXPANSION_SHARE * torque, torque))


PROFILE = _compression_profile()


@dataclass(frozen=True, slots=True)
class Power:
    """One start solved. All arrays shape (n,); `starter_a` amperes, `speed_rpm` crankshaft, `battery_v` at the posts."""

    at_s: FloatArray
    battery_v: FloatArray
    starter_a: FloatArray
    speed_rpm: FloatArray
    angle: FloatArray
    strap_v: FloatArray


def _share(x: FloatArray) -> FloatArray:
    """`x` held between 0 and 1."""
    return np.asarray(np.minimum(np.maximum(x, 0.0), 1.0))


class Batch:
    """Parameters of N starts as arrays of shape (N,), and the equations over them."""

    def __init__(self, vehicles: Sequence[Vehicle], schedules: Sequence[Schedule]) -> None:
        self.size = len(vehicles)
        for field in fields(Vehicle):
            if field.name not in ("polarisation_ohm", "polarisation_s", "strength", "feed_after_post"):
                setattr(self, "v_" + field.name, np.array([getattr(v, field.name) for v in vehicles], dtype=np.float64))
        self.main_ohm = np.array([v.main_ohm for v in vehicles])
        self.r1, self.r2 = np.array([v.polarisation_ohm for v in vehicles]).T
        self.tau1, self.tau2 = np.array([v.polarisation_s for v in vehicles]).T
        self.strength = np.array([v.strength for v in vehicles])
        count = np.array([v.cylinders for v in vehicles])
        order = np.arange(8)
        self.strength = np.where(order < count[:, None], self.strength, 0.0)
        self.offset = 4 * np.pi * order / count[:, None]
        self.s = {
            name: np.array([getattr(s, name) for s in schedules], dtype=np.float64)
            for name in ("on_s", "start_s", "engage_s", "open_s", "drop_s", "fire_s", "off_s", "end_s")
        }
        self.stop_s = np.where([v.runs_after_off for v in vehicles], np.inf, self.s["off_s"])
        self.heat_from = np.full((self.size, HEATERS), np.inf)
        self.heat_to = np.full((self.size, HEATERS), np.inf)
        self.heaters = max(len(schedule.heater_s) for schedule in schedules)
        for i, schedule in enumerate(schedules):
            for k, (a, b) in enumerate(schedule.heater_s[:HEATERS]):
                self.heat_from[i, k], self.heat_to[i, k] = a, b

    def conductance(self, t: FloatArray) -> FloatArray:
        """Heater and solenoid as siemens across the battery at times `t`, shape (N,) or (N, m)."""
        wide = t.ndim == 2

        def p(name: str) -> FloatArray:
            values: FloatArray = getattr(self, name)
            return values[:, None] if wide else values

        def at(name: str) -> FloatArray:
            return self.s[name][:, None] if wide else self.s[name]

        hot = np.zeros(t.shape, dtype=bool)
        for k in range(self.heaters):
            start, end = self.heat_from[:, k], self.heat_to[:, k]
            hot |= (t >= (start[:, None] if wide else start)) & (t < (end[:, None] if wide else end))
        coil = np.where(t < at("engage_s"), 1.0 / (p("v_pull_in_ohm") + p("v_control_ohm")), 0.0)
        coil = np.where(t >= at("engage_s"), 1.0 / (p("v_hold_ohm") + p("v_control_ohm")), coil)
        coil = np.where((t >= at("start_s")) & (t < at("open_s")), coil, 0.0)
        return np.asarray(np.where(hot, 1.0 / (p("v_heater_ohm") + p("v_heater_wire_ohm")), 0.0) + coil)

    def battery_v(self, t: FloatArray, y: FloatArray) -> FloatArray:
        """Volts at the battery posts for states y of shape (STATES, N) or (STATES, N, m)."""
        wide = t.ndim == 2

        def p(values: FloatArray) -> FloatArray:
            return values[:, None] if wide else values

        keyed = (t >= p(self.s["on_s"])) & (t < p(self.s["off_s"]))
        load_a = np.where(keyed, p(self.v_load_on_a), p(self.v_load_off_a))  # type: ignore[attr-defined]
        open_circuit_v: FloatArray = p(self.v_open_circuit_v)  # type: ignore[attr-defined]
        rest = np.subtract(np.subtract(open_circuit_v, y[FAST]), y[SLOW])
        drawn_a = y[CURRENT] + load_a
        g = self.conductance(t)
        turning = _share((y[SPEED] - 40.0) / 20.0)
        if (self.v_charge_after_s > 0).any():  # type: ignore[attr-defined]
            built = _share((t - p(self.s["fire_s"]) - p(self.v_charge_after_s)) / BUILT_UP_S)  # type: ignore[attr-defined,operator]
            turning = np.where(p(self.v_charge_after_s) > 0, turning * built, turning)  # type: ignore[attr-defined]
        ga = turning / p(self.v_charge_ohm)  # type: ignore[attr-defined]
        set_v, most_a = p(self.v_charge_v), p(self.v_charge_max_a) * turning  # type: ignore[attr-defined]

        def across(ohm: FloatArray) -> FloatArray:
            alone = (rest - ohm * drawn_a) / (1.0 + ohm * g)
            if not turning.any():
                return np.asarray(alone)
            held = (rest + ohm * (ga * set_v - drawn_a)) / (1.0 + ohm * (g + ga))
            full = (rest + ohm * (most_a - drawn_a)) / (1.0 + ohm * g)
            return np.asarray(np.where(alone >= set_v, alone, np.minimum(held, full)))

        r0 = p(self.v_ohmic_ohm)  # type: ignore[attr-defined]
        discharging = across(r0)
        if not turning.any():
            return discharging
        return np.asarray(np.where(discharging <= rest, discharging, across(CHARGE_SHARE * r0)))

    def slope(self, t: FloatArray, y: FloatArray, engaged: bool) -> FloatArray:
        """dy/dt, shape (STATES, N)."""
        v = self.battery_v(t, y)
        current, speed = y[CURRENT], y[SPEED]
        kt: FloatArray = self.v_kt  # type: ignore[attr-defined]
        free: FloatArray = self.v_free_a  # type: ignore[attr-defined]
        out = np.empty_like(y)
        if engaged:
            motor = np.minimum(np.maximum(speed, 0.0), (v - free * self.main_ohm) / kt)
            out[CURRENT] = (v - self.main_ohm * current - kt * motor) / self.v_starter_h  # type: ignore[attr-defined]
            torque = kt * np.maximum(current - free, 0.0)
        else:
            out[CURRENT] = 0.0
            torque = np.zeros(self.size)
        firing = (t >= self.s["fire_s"]) & (t < self.stop_s)
        idle = self.v_idle_rpm * np.pi / 30.0  # type: ignore[attr-defined]
        torque = torque + np.where(firing, np.minimum(np.maximum(30.0 * (idle * 1.03 - speed), 0.0), 260.0), 0.0)
        rpm = speed * 30.0 / np.pi
        rough = _share((SMOOTH_RPM[1] - rpm) / (SMOOTH_RPM[1] - SMOOTH_RPM[0]))
        squeeze = rough * self.v_compression_nm * self.compression(y[ANGLE])  # type: ignore[attr-defined]
        still = _share(speed / 0.6)
        drag = self.v_friction_nm * (0.75 + 0.25 * np.minimum(speed / 20.0, 2.0)) * still  # type: ignore[attr-defined]
        # At rest the gas leaks away and static friction holds the crank: no push back without a starter.
        squeeze = np.where((speed < 0.5) & (torque == 0), squeeze * still, squeeze)
        out[SPEED] = (torque - drag - squeeze) / self.v_inertia_kgm2  # type: ignore[attr-defined]
        out[SPEED] = np.where((speed <= 0.0) & (out[SPEED] < 0.0), -20.0 * speed, out[SPEED])
        out[ANGLE] = np.maximum(speed, 0.0)
        emf = self.v_open_circuit_v - y[FAST] - y[SLOW]  # type: ignore[attr-defined]
        ohm = self.v_ohmic_ohm * np.where(v > emf, CHARGE_SHARE, 1.0)  # type: ignore[attr-defined]
        battery_a = (emf - v) / ohm
        out[FAST] = (battery_a * self.r1 - y[FAST]) / self.tau1
        out[SLOW] = (battery_a * self.r2 - y[SLOW]) / self.tau2
        return out

    def compression(self, angle: FloatArray) -> FloatArray:
        """Torque of all cylinders against rotation, in units of one cylinder's peak, shape (N,)."""
        cycle = np.mod(angle[:, None] - self.offset, 4 * np.pi) * (len(PROFILE) / (4 * np.pi))
        index = cycle.astype(np.int64)
        rest = cycle - index
        low = PROFILE[index % len(PROFILE)]
        high = PROFILE[(index + 1) % len(PROFILE)]
        return np.asarray(((low + rest * (high - low)) * self.strength).sum(axis=1))


def solve(vehicles: Sequence[Vehicle], schedules: Sequence[Schedule], angle: FloatArray) -> list[Power]:
    """Solves N starts at once; `angle` is where each engine stands, radians, shape (N,)."""
    batch = Batch(vehicles, schedules)
    s = batch.s
    bounds = [np.zeros(batch.size), s["on_s"], s["engage_s"], s["drop_s"], s["end_s"]]
    y = np.zeros((STATES, batch.size))
    y[ANGLE] = angle
    times, states = [], []
    for k in range(4):
        begin, length = bounds[k], bounds[k + 1] - bounds[k]
        y[CURRENT] = 0.0
        count = max(int(np.ceil(length.max() / GRID_S[k])), 2) + 1
        at = np.linspace(0.0, 1.0, count)

        def rate(u: float, flat: FloatArray, begin: FloatArray = begin, length: FloatArray = length, k: int = k) -> FloatArray:
            shaped = flat.reshape(STATES, batch.size)
            return np.asarray((batch.slope(begin + u * length, shaped, k == 2) * length).ravel())

        solved = solve_ivp(
            rate,
            (0.0, 1.0),
            y.ravel(),
            method="RK45",
            t_eval=at,
            rtol=1e-4,
            atol=1e-4,
            max_step=LONGEST_STEP_S[k] / max(float(length.max()), 1e-3),
        )
        grown = solved.y.reshape(STATES, batch.size, count)
        y = grown[:, :, -1].copy()
        shift = STEP_S if k == 3 else 0.0  # cranking ends in a step of current
        times.append(begin[:, None] + at[None, :] * length[:, None] + shift)
        states.append(grown)
    return [_one(batch, schedules[i], i, times, states) for i in range(batch.size)]


def _one(batch: Batch, schedule: Schedule, i: int, times: list[FloatArray], states: list[FloatArray]) -> Power:
    """Joins the segments of start i and adds a pair of nodes at every switched load."""
    grid = np.concatenate([t[i] for t in times])
    state = np.concatenate([y[:, i] for y in states], axis=1)
    keep = np.concatenate(([True], np.diff(grid) > 1e-9))
    grid, state = grid[keep], state[:, keep]
    switched = [schedule.on_s, schedule.start_s, schedule.engage_s, schedule.open_s, schedule.off_s]
    switched += [edge for stretch in schedule.heater_s for edge in stretch]
    edges = np.array([e for e in switched if 0.0 < e < schedule.end_s])
    at_s = np.union1d(grid, np.concatenate((edges - STEP_S / 2, edges + STEP_S / 2)))
    y = np.stack([np.interp(at_s, grid, row) for row in state])
    one = Batch.__new__(Batch)
    one.__dict__ = {
        name: (value[i : i + 1] if isinstance(value, np.ndarray) else value) for name, value in batch.__dict__.items()
    }
    one.size = 1
    one.s = {name: value[i : i + 1] for name, value in batch.s.items()}
    battery = one.battery_v(at_s[None, :], y[:, None, :])[0]
    return Power(
        at_s=at_s,
        battery_v=battery,
        starter_a=y[CURRENT],
        speed_rpm=y[SPEED] * 30.0 / np.pi,
        angle=y[ANGLE],
        strap_v=y[CURRENT] * float(batch.v_strap_ohm[i]),  # type: ignore[attr-defined]
    )
