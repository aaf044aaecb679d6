"""Starts as a stranger's logger writes them, for tests: honest ones of many kinds, and ways in which a file can lie.

Its own model, without the simulator: battery with polarisation, starter with compressions, slow alternator (the build-up
of 2 to 6 s is that of nine real starts, TractorHacking/CAN-data, MIT licence), heater that cycles, faults of the feed; then a
converter with range, bits, noise and the rounding of its text. All of it synthetic.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firstcrank.noise import logger_uncertainty
from firstcrank.trace import Channel, Trace

FAULTS = ("none", "none", "none", "dead in start", "dropouts", "chatter", "resistance", "bad contact", "never on")


@dataclass(frozen=True)
class Start:
    """Volts of each lead at times t_s, and what made them."""

    t_s: np.ndarray
    volts: dict[str, np.ndarray]
    rate_hz: float
    fault: str
    step_v: float
    crank: tuple[float, float]


def honest(seed: int, rate_hz: float | None = None, fault: str | None = None, digits: int | None = None) -> Start:
    """One start of many kinds, drawn from `seed`."""
    rng = np.random.default_rng([seed, 4711])
    rate = rate_hz or float(np.exp(rng.uniform(np.log(200), np.log(20_000))))
    fault = fault or str(rng.choice(FAULTS))
    system = 24.0 if rng.random() < 0.15 else 12.0
    scale = system / 12.0
    off_s, run_s, crank_s, after_s = rng.uniform(0.5, 1.5), rng.uniform(0.5, 2.0), rng.uniform(0.6, 4.0), rng.uniform(2.0, 5.0)
    on_at, crank_at = off_s, off_s + run_s
    end_at = crank_at + crank_s
    t = np.arange(0.0, end_at + after_s, 1.0 / rate)
    battery = np.full(len(t), rng.uniform(12.1, 12.9))
    battery -= np.where(t > on_at, rng.uniform(0.01, 0.15), 0.0)
    if rng.random() < 0.4:  # an intake heater, cycling after the start too
        period, share = rng.uniform(1.0, 4.0), rng.uniform(0.3, 0.8)
        heating = ((t - on_at) % period < share * period) & (t > on_at) & ((t < crank_at) | (t > end_at + 0.3))
        battery -= np.where(heating, rng.uniform(0.2, 0.8), 0.0)
    cranking = (t >= crank_at) & (t < end_at)
    inrush = np.exp(-(t - crank_at) / 0.03) * rng.uniform(1.0, 3.0)
    ripple = rng.uniform(0.15, 0.6) * np.sin(2 * np.pi * rng.uniform(4, 14) * (t - crank_at)) ** 3
    commutator = rng.uniform(0.0, 0.05) * np.sin(2 * np.pi * rng.uniform(150, 900) * t)
    battery -= np.where(cranking, rng.uniform(1.0, 3.0) + inrush + ripple + commutator, 0.0)
    tau = rng.uniform(0.3, 4.0)
    depth = rng.uniform(0.05, 0.4)
    battery -= np.where(cranking, depth * (1 - np.exp(-(t - crank_at) / tau)), 0.0)
    battery -= np.where(t >= end_at, depth * (1 - np.exp(-crank_s / tau)) * np.exp(-(t - end_at) / tau), 0.0)
    if rng.random() < 0.6:  # it runs
        begin, rise = end_at + rng.uniform(0.1, 1.0), rng.uniform(0.7, 2.0)
        gain = np.clip(1 - np.exp(-(t - begin) / rise), 0.0, None) * (14.2 - 12.6)
        battery += np.where(t > begin, gain + rng.uniform(0.0, 0.04) * np.sin(2 * np.pi * rng.uniform(300, 900) * t), 0.0)
    battery *= scale
    drop = rng.choice([0.0, 0.002, 0.03, 0.2, 0.4]) * scale
    key_on = t >= on_at
    if fault == "resistance":
        drop += rng.uniform(0.5, 2.0) * scale
    shed = np.where(cranking & (rng.random() < 0.4), rng.uniform(0.2, 1.0), 1.0)  # loads that the switch drops in START
    key = np.where(key_on, battery - drop * shed, 0.0)
    if fault == "dead in start":
        key = np.where(cranking, 0.0, key)
    elif fault == "dropouts":
        for _ in range(int(rng.integers(1, 8))):
            at, long = rng.uniform(on_at + 0.1, t[-1]), rng.choice([0.0005, 0.002, 0.01, 0.2])
            key = np.where((t >= at) & (t < at + long), rng.uniform(0.0, 5.0), key)
    elif fault == "chatter":
        gone = (np.sin(2 * np.pi * rng.uniform(20, 200) * t) > rng.uniform(0.0, 0.9)) & cranking
        key = np.where(gone, rng.uniform(0.0, 3.0), key)
    elif fault == "bad contact":
        key = np.where(key_on, key - np.abs(rng.normal(0.0, 0.3, len(t))) * cranking, 0.0)
    elif fault == "never on":
        key = np.zeros(len(t))
    volts = {"battery": battery, "key_switch": key}
    if rng.random() < 0.7:
        volts["starter_coil"] = np.where(cranking, battery - rng.uniform(0.1, 0.6), 0.0)
    if rng.random() < 0.2:
        volts["module_ground"] = np.where(cranking, rng.choice([0.0, 0.02, 0.1]), 0.0)
    if rng.random() < 0.2:
        volts["module_supply"] = battery - rng.uniform(0.0, 0.1)
    bits, full_v = int(rng.choice([10, 12, 12, 14, 16])), 20.0 * scale if rng.random() < 0.5 else 40.0
    step = full_v / 2**bits
    noise = max(rng.uniform(0.15, 3.0) * step, 0.0003)
    places = digits if digits is not None else int(rng.choice([2, 3, 4, 6]))
    read = {role: _read(rng, values, step, noise, places) for role, values in volts.items()}
    if rng.random() < 0.3:  # a logger's clock that jitters
        t = np.sort(t + rng.uniform(-0.4, 0.4, len(t)) / rate)
        t = np.concatenate((t[:1], t[:1] + np.cumsum(np.maximum(np.diff(t), 0.02 / rate))))
    return Start(t, read, rate, fault, max(step, 10.0**-places), (crank_at, end_at))


def _read(rng: np.random.Generator, volts: np.ndarray, step: float, noise: float, places: int) -> np.ndarray:
    """As a converter reads and a logger writes it; a lead that carries nothing may read exactly nothing."""
    wide = volts + rng.normal(0.0, noise, len(volts))
    codes = np.round(wide / step) * step * (1.0 + rng.normal(0.0, 0.002))
    if rng.random() < 0.5:
        codes = np.where(np.abs(volts) < 0.05, 0.0, codes)
    return np.round(codes, places)


def trace_of(start: Start) -> Trace:
    """The trace that the CSV reader makes of it."""
    t = start.t_s - start.t_s[0]
    end = np.concatenate((t[1:], [t[-1] + np.median(np.diff(t))]))
    channels = {role: Channel(role, v, v, v, logger_uncertainty(v, 0.0029, 0.0115)) for role, v in start.volts.items()}
    return Trace(t, end, np.ones(len(t), dtype=np.int64), end - t, channels)


def changed(start: Start, **volts: np.ndarray) -> Start:
    """The start with other readings of some leads."""
    return Start(start.t_s, {**start.volts, **volts}, start.rate_hz, start.fault, start.step_v, start.crank)


# Lies --------------------------------------------------------------------------------------------------------------------


def clipped(start: Start, rng: np.random.Generator) -> Start:
    """The logger's range ends in the crank's ripple, or between crank and rest."""
    battery = start.volts["battery"]
    cranking = (start.t_s > start.crank[0] + 0.3) & (start.t_s < start.crank[1])
    low, high = np.quantile(battery[cranking], [0.5, 1.0])
    rest = float(np.median(battery[start.t_s < start.crank[0]]))
    top = np.round(low + rng.uniform(0.1, 0.9) * (min(high, rest) - low), 2)
    return changed(start, **{role: np.minimum(v, top) for role, v in start.volts.items()})


def held(start: Start, rng: np.random.Generator) -> Start:
    """A slower reading of every lead written into every row."""
    each = max(start.rate_hz / rng.uniform(50, 300), 3.0)
    at = (np.floor(np.arange(len(start.t_s)) / each) * each).astype(int)
    return changed(start, **{role: v[at] for role, v in start.volts.items()})


def frozen(start: Start, rng: np.random.Generator) -> Start:
    """The feed stands still from shortly before the crank until some time in it or after it."""
    begin = start.crank[0] - rng.uniform(0.05, 0.3)
    end = start.crank[0] + rng.uniform(0.4, 1.0) * (start.crank[1] - start.crank[0])
    key = start.volts["key_switch"].copy()
    inside = (start.t_s >= begin) & (start.t_s < end)
    key[inside] = key[np.flatnonzero(inside)[0] - 1]
    return changed(start, key_switch=key)


def noise_free(start: Start, rng: np.random.Generator) -> Start:
    """Computed: smooth curves written with many digits."""
    t = start.t_s
    cranking = (t >= start.crank[0]) & (t < start.crank[1])
    battery = 12.6 - 0.05 * np.exp(-t / 2.0) - np.where(cranking, 2.0 + 0.3 * np.sin(2 * np.pi * 8 * (t - start.crank[0])), 0.0)
    return changed(start, battery=np.round(battery, 9), key_switch=np.where(t > 0.7, np.round(battery - 0.1, 9), 0.0))


def copied(start: Start, rng: np.random.Generator) -> Start:
    """From the crank on the feed's column is the battery's."""
    from_s = start.crank[0] - rng.uniform(0.0, 0.2)
    return changed(start, key_switch=np.where(start.t_s >= from_s, start.volts["battery"], start.volts["key_switch"]))


def on_the_post(start: Start, rng: np.random.Generator) -> Start:
    """The feed's clip is put on the battery's post before the crank."""
    at = start.crank[0] - rng.uniform(0.1, 0.3)
    battery = start.volts["battery"]
    noise = rng.normal(0.0, 1.0, len(battery)) * max(float(np.std(np.diff(battery[:200]))), start.step_v)
    drop = np.where(start.t_s < at, 0.3 + 0.2 * rng.random(), 0.0)
    live = start.volts["key_switch"] > 5.0
    return changed(
        start, key_switch=np.where(live | (start.t_s >= at), np.round(battery - drop + noise, 4), start.volts["key_switch"])
    )


def coarse(start: Start, rng: np.random.Generator) -> Start:
    """Eight bits."""
    full_v = (20.0 if float(np.median(start.volts["battery"])) < 17 else 40.0) * rng.uniform(0.85, 1.2)
    step = full_v / 256
    return changed(start, **{role: np.round(np.round(v / step) * step, 4) for role, v in start.volts.items()})


def bunched(start: Start, rng: np.random.Generator) -> Start:
    """Stamps of arrival: a packet's rows follow each other at once."""
    each = int(rng.integers(8, 64))
    at = np.arange(len(start.t_s))
    t = start.t_s[at // each * each] + (at % each) * 0.01 / start.rate_hz
    return Start(t, start.volts, start.rate_hz, start.fault, start.step_v, start.crank)


LIES: dict[str, tuple[Callable[[Start, np.random.Generator], Start], str]] = {
    "clipped": (clipped, "clipped"),
    "held": (held, "held"),
    "frozen": (frozen, "frozen"),
    "noise-free": (noise_free, "noise-free"),
    "copied": (copied, "copied"),
    "on the post": (on_the_post, "copied"),
    "coarse": (coarse, "coarse"),
    "bunched": (bunched, "time"),
}
