"""What is no crank: nothing turns, so nothing can pass. Often there is no starter lead to say so."""

from __future__ import annotations

from numpy.random import Generator

from tests.strangers.draw import chance, log_uniform, one_of
from tests.strangers.plan import OFF, ON, START, CrankPlan, Helper, Load, Plan
from tests.strangers.sound import NEVER, sound_start


def no_crank(rng: Generator, seed: int, family: str, lead: float = 0.35) -> Plan:
    """Key on, key back on the same second or never in START, no starter: a base for the rest."""
    p = sound_start(
        rng, seed, family, cranks=1, runs=False, with_heater=False, lead=chance(rng, lead), key_off=chance(rng, 0.4)
    )
    c = p.cranks[0]
    c.locked_out = True
    p.key = [x for x in p.key if x[1] != START and not (x[1] == ON and x[0] == c.key_end_s)]
    p.feed.cuts = [x for x in p.feed.cuts if not c.key_start_s - 0.02 < x.begin_s < c.key_end_s + 0.02]
    for name in ("cranked_with_key", "engine_running"):
        if chance(rng, 0.6):
            p.record.answers.pop(name, None)
    p.battery.polar_s = (log_uniform(rng, 0.1, 1.0), log_uniform(rng, 0.3, 2.0))
    return p


def heater_once(rng: Generator, seed: int, family: str) -> Plan:
    """An intake heater goes on once for 0.5 to 8 s; the battery settles exponentially."""
    p = no_crank(rng, seed, family)
    on = p.borders()["key_on"] + rng.uniform(0.2, 2.0)
    p.loads.append(Load(on, min(on + log_uniform(rng, 0.5, 8.0), p.record.end_s - 0.5), _heater_a(rng, p), what="heater"))
    return p


def heater_cycles(rng: Generator, seed: int, family: str) -> Plan:
    """It cycles, with periods of 0.15 to 12 s."""
    p = no_crank(rng, seed, family)
    period = log_uniform(rng, 0.15, 12.0)
    share = rng.uniform(0.2, 0.8)
    t = p.borders()["key_on"] + rng.uniform(0.2, 1.5)
    amps = _heater_a(rng, p)
    while t < p.record.end_s - 0.5:
        length = period * share * rng.uniform(0.9, 1.1)
        p.loads.append(Load(t, t + length, amps, what="heater"))
        t += period * rng.uniform(0.95, 1.05)
    return p


def _heater_a(rng: Generator, p: Plan) -> float:
    """60 to 200 A, on a battery that may be small or cold."""
    tired = rng.uniform(1.0, 2.5)
    p.battery.r0_ohm *= tired
    share = rng.uniform(0.3, 1.2)
    p.battery.polar_ohm = (p.battery.r0_ohm * share * rng.uniform(0.3, 0.8), p.battery.r0_ohm * share * rng.uniform(0.1, 0.5))
    return rng.uniform(60, 200) / p.scale


def jump_clip(rng: Generator, seed: int, family: str) -> Plan:
    """A jump pack is clipped on a sagging or flat battery, off again, with a heater at times."""
    p = no_crank(rng, seed, family)
    p.battery.open_v -= rng.uniform(0.0, 3.0) * p.scale
    t = p.borders()["key_on"] + rng.uniform(0.3, 2.0)
    while t < p.record.end_s - 1.0:
        until = t + log_uniform(rng, 0.3, 8.0)
        v = rng.uniform(12.4, 14.2) * p.scale
        p.helpers.append(Helper(t, until, v, rng.uniform(0.005, 0.03) * p.scale, "jump pack"))
        t = until + log_uniform(rng, 0.3, 3.0)
        if chance(rng, 0.5):
            break
    if chance(rng, 0.3):
        on = p.borders()["key_on"] + 0.1
        p.loads.append(Load(on, on + rng.uniform(0.5, 4.0), _heater_a(rng, p), what="heater"))
    return p


def headlights(rng: Generator, seed: int, family: str) -> Plan:
    """Lamps with a cold inrush of ten times, flashed or left on, on a weak battery."""
    p = no_crank(rng, seed, family)
    p.battery.r0_ohm *= rng.uniform(1.0, 2.5)
    t = p.borders()["key_on"] + rng.uniform(0.2, 1.5)
    amps = rng.uniform(8, 40) / p.scale
    for _ in range(int(rng.integers(1, 8))):
        length = log_uniform(rng, 0.1, 3.0)
        if t + length > p.record.end_s - 0.3:
            break
        p.loads.append(Load(t, t + length, amps, inrush=rng.uniform(4, 12), inrush_s=rng.uniform(0.01, 0.06), what="lamps"))
        t += length + log_uniform(rng, 0.1, 1.5)
    return p


def fan(rng: Generator, seed: int, family: str) -> Plan:
    """A fan or pump motor: inrush of three to eight times, then a ripple of 3 to 15 Hz."""
    p = no_crank(rng, seed, family)
    on = p.borders()["key_on"] + rng.uniform(0.2, 1.5)
    amps = rng.uniform(15, 60) / p.scale
    p.battery.r0_ohm *= rng.uniform(1.0, 2.2)  # a tired battery, but one that would still crank
    p.loads.append(
        Load(
            on,
            min(on + log_uniform(rng, 1.0, 10.0), p.record.end_s - 0.4),
            amps,
            inrush=rng.uniform(3, 8),
            inrush_s=log_uniform(rng, 0.03, 0.5),
            ripple=rng.uniform(0.01, 0.12),  # blades and pump strokes; commutation is far faster. Common practice, no source
            ripple_hz=rng.uniform(3, 15),
            what="fan",
        )
    )
    return p


def locked_out(rng: Generator, seed: int, family: str) -> Plan:
    """Key in START, starter locked out (gear, clutch, immobiliser): 12.3 V, nothing turns, as two public logs show."""
    p = sound_start(rng, seed, family, cranks=1, runs=False, lead=chance(rng, 0.5))
    p.cranks[0].locked_out = True
    if chance(rng, 0.4):
        p.cranks[0].locked_out, p.cranks[0].no_turn = False, True  # the solenoid clicks, the main contacts are burnt
    if chance(rng, 0.3):
        p.feed.live_in = (ON,)
    return p


def switch_test(rng: Generator, seed: int, family: str) -> Plan:
    """OFF, ON, START, ON, again and again with the S wire off the solenoid: no current at all, the S wire live in START."""
    p = sound_start(rng, seed, family, cranks=1, runs=False, with_heater=False, lead=chance(rng, 0.8))
    p.key = []
    p.feed.cuts = []
    p.cranks = []
    t = 1.0
    for _ in range(int(rng.integers(2, 5))):
        start = t + rng.uniform(0.5, 2.0)
        back = start + rng.uniform(1.0, 3.0)
        off = back + rng.uniform(0.5, 2.0)
        p.key += [(t, ON), (start, START), (back, ON), (off, OFF)]
        p.cranks.append(CrankPlan(start, back, no_turn=True, plunge_s=0.03))
        t = off + rng.uniform(0.8, 2.0)
    p.record.end_s = t
    p.loads = [x for x in p.loads if x.what == "parked load"]
    p.labels["declared"] = one_of(rng, True, False)
    return p


def steady_ripple(rng: Generator, seed: int, family: str) -> Plan:
    """An inrush with a steady ripple of 3 to 15 Hz that is no crank: a winch, a tail lift, a compressor with 100 to 300 A.

    From the battery's volts alone this can't be told from a crank; with a working starter lead that stays dead it can.
    """
    p = no_crank(rng, seed, family, lead=1.0)
    on = p.borders()["key_on"] + rng.uniform(0.3, 2.0)
    amps = rng.uniform(80, 300) / p.scale
    p.loads.append(
        Load(
            on,
            min(on + rng.uniform(1.0, 6.0), p.record.end_s - 0.4),
            amps,
            inrush=rng.uniform(1.5, 2.5),
            inrush_s=log_uniform(rng, 0.03, 0.2),
            ripple=rng.uniform(0.05, 0.35),
            ripple_hz=rng.uniform(3, 15),
            what="winch",
        )
    )
    return p


__all__ = ("NEVER", "OFF", "START")
