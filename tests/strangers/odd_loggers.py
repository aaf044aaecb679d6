"""Families of bad CSV: too slow, held, repeated stamps, frozen, eight bits, flat tops; and common-mode noise on any recorder."""

from __future__ import annotations

from numpy.random import Generator

from tests.strangers.draw import chance, log_uniform, one_of
from tests.strangers.faults_feed import base, lost_at_turn, near_a_border, single_loss, steady_drop
from tests.strangers.plan import Plan


def either(rng: Generator, seed: int, family: str) -> Plan:
    """A CSV of a sound start, or of a faulty one."""
    kind = rng.random()
    if kind < 0.5:
        p = base(rng, seed, family)
    elif kind < 0.7:
        p = single_loss(rng, seed, family)
    elif kind < 0.85:
        p = lost_at_turn(rng, seed, family)
    else:
        p = steady_drop(rng, seed, family)
    p.record.delivery = "csv"
    return p


def csv_slow(rng: Generator, seed: int, family: str) -> Plan:
    """200 Hz to 1 kHz and a little more: rows further apart than the shortest loss that counts."""
    p = either(rng, seed, family)
    p.record.rate_hz = round(log_uniform(rng, 200, 1300))
    return p


def csv_held(rng: Generator, seed: int, family: str) -> Plan:
    """Sampled slowly and written fast: every value stands for many rows."""
    p = either(rng, seed, family)
    p.record.rate_hz = float(rng.choice([2000.0, 5000.0, 10000.0]))
    p.record.tricks["held_hz"] = log_uniform(rng, 50, 800)
    return p


def csv_repeated(rng: Generator, seed: int, family: str) -> Plan:
    """Time stamps too coarse for the rate, so that they repeat; or a block of rows written twice."""
    p = either(rng, seed, family)
    p.record.rate_hz = float(rng.choice([2000.0, 4000.0]))
    p.record.tricks["stamps"] = one_of(rng, "coarse", "block")
    return p


def csv_frozen(rng: Generator, seed: int, family: str) -> Plan:
    """One lead freezes at a value from a border on, for a while or for good."""
    p = either(rng, seed, family)
    at = near_a_border(rng, p, 0.0)
    length = log_uniform(rng, 0.05, 20.0)
    p.record.tricks["frozen"] = (one_of(rng, "key_switch", "key_switch", "battery"), at, at + length)
    return p


def csv_8bit(rng: Generator, seed: int, family: str) -> Plan:
    """Eight bits over 20 to 100 V."""
    p = either(rng, seed, family)
    p.record.tricks["bits"] = 8
    p.record.tricks["range_v"] = float(rng.choice([20.0, 25.6, 50.0, 100.0]))
    return p


def csv_flat_top(rng: Generator, seed: int, family: str) -> Plan:
    """Clipped at the logger's full scale, which the file does not name."""
    p = either(rng, seed, family)
    p.record.tricks["flat_v"] = rng.uniform(0.7, 1.02) * p.battery.open_v
    return p


def common_mode(rng: Generator, seed: int, family: str) -> Plan:
    """The same disturbance on all leads: a tone, bursts, or single samples of up to 1 V; on sound and on faulty starts."""
    if chance(rng, 0.5):
        p = base(rng, seed, family)
    else:
        drawn = rng.random()
        make = single_loss if drawn < 0.4 else steady_drop if drawn < 0.7 else lost_at_turn
        p = make(rng, seed, family)
    if p.record.delivery == "frames":
        p.record.delivery = "board"
    kind = one_of(rng, "tone", "single", "single", "few")
    if kind == "tone":
        p.record.tricks["tone"] = (log_uniform(rng, 50, 5000), log_uniform(rng, 0.02, 0.4) * p.scale)
    else:
        count = 1 if kind == "single" else int(rng.integers(2, 12))
        times = [near_a_border(rng, p, 0.0) + rng.uniform(-0.3, 0.3) for _ in range(count)]
        p.record.tricks["spikes"] = [(t, float(rng.choice([-1, 1]) * rng.uniform(0.1, 1.0) * p.scale)) for t in sorted(times)]
    return p
