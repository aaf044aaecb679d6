"""Families in which the evidence is bad: leads, clips, holes, loggers, and cranks that are none of the key's."""

from __future__ import annotations

from numpy.random import Generator

from tests.strangers.draw import around, chance, log_uniform, one_of
from tests.strangers.faults_feed import base, near_a_border
from tests.strangers.plan import OFF, ON, START, CrankPlan, Cut, Drop, Helper, Plan


def swapped(rng: Generator, seed: int, family: str) -> Plan:
    """Two leads exchanged."""
    p = base(rng, seed, family, lead=True)
    pair = one_of(rng, ("battery", "key_switch"), ("key_switch", "starter_coil"), ("battery", "starter_coil"))
    p.record.tricks["swapped"] = pair
    return p


def one_post(rng: Generator, seed: int, family: str) -> Plan:
    """The feed's lead clipped to the battery post, or to the starter's terminal."""
    p = base(rng, seed, family)
    p.record.tricks["copy"] = ("key_switch", one_of(rng, "battery", "battery", "starter_coil"), 0.0)
    if chance(rng, 0.5):  # the true feed is faulty, and nobody sees it
        p.feed.live_in = (ON,)
    return p


def lead_off(rng: Generator, seed: int, family: str) -> Plan:
    """A lead that hangs in the air for the whole recording."""
    p = base(rng, seed, family, lead=True)
    p.record.tricks["off"] = (one_of(rng, "battery", "key_switch", "starter_coil"), 0.0, 1e9)
    return p


def lead_moved(rng: Generator, seed: int, family: str) -> Plan:
    """A lead falls off, or is put on the post, while recording, on a border; put back in a third of the draws."""
    p = base(rng, seed, family, lead=True)
    at = near_a_border(rng, p, 0.0)
    until = at + log_uniform(rng, 0.2, 5.0) if chance(rng, 0.33) else 1e9
    if chance(rng, 0.5):
        p.record.tricks["off"] = (one_of(rng, "battery", "key_switch", "key_switch", "starter_coil"), at, until)
    else:
        p.record.tricks["copy"] = ("key_switch", one_of(rng, "battery", "starter_coil"), at)
        p.record.tricks["off"] = ("key_switch", at, at + log_uniform(rng, 0.1, 1.5))  # on its way it hangs in the air
        if chance(rng, 0.5):  # and what the feed did after that nobody saw
            p.feed.drops.append(_loss_after(rng, p, at))
    return p


def _loss_after(rng: Generator, p: Plan, at: float) -> Drop:
    begin = at + rng.uniform(0.05, 0.5)
    return Drop(begin, begin + log_uniform(rng, 0.05, 3.0), to_v=rng.uniform(0.0, 6.5))


def ground_moved(rng: Generator, seed: int, family: str) -> Plan:
    """The ground clip sits on the engine block, or comes off or moves while recording."""
    p = base(rng, seed, family)
    at = 0.0 if chance(rng, 0.3) else near_a_border(rng, p, 0.0)
    volts = -around(rng, 0.5 * p.scale, spread=6.0)
    p.record.tricks["ground"] = (one_of(rng, "block", "block", "step"), at, volts)
    if p.record.tricks["ground"][0] == "block":
        p.module.strap_ohm = -volts / p.engine.crank_a
    return p


def clipped(rng: Generator, seed: int, family: str) -> Plan:
    """Full scale lies below the battery's or the feed's highest voltage, for all of the start or a part."""
    p = base(rng, seed, family)
    p.record.tricks["full_scale_v"] = rng.uniform(0.75, 1.16) * p.battery.open_v
    if p.record.delivery == "frames":
        p.record.delivery = "board"
    if chance(rng, 0.5):
        from tests.strangers.faults_feed import steady_drop

        q = steady_drop(rng, seed, family)
        p.feed.drops = [d for d in q.feed.drops if d.begin_s < p.record.end_s]
    return p


def hole(rng: Generator, seed: int, family: str) -> Plan:
    """Bins are missing over any border; 1 ms to 2 s; in half of the draws the feed is lost within."""
    p = base(rng, seed, family, delivery="frames" if chance(rng, 0.4) else "board")
    length = around(rng, one_of(rng, 0.02, 0.3), spread=8.0)
    at = near_a_border(rng, p, length)
    if chance(rng, 0.2):
        at = p.borders()["key_on"] - length * rng.uniform(0, 1)
    p.record.tricks["hole"] = (at, at + length)
    if chance(rng, 0.5):
        p.feed.relay = None
        lost = length * rng.uniform(0.2, 0.9)
        begin = at + (length - lost) * rng.uniform(0, 1)
        p.feed.cuts.append(Cut(begin, begin + lost))
        p.feed.decay_s = min(p.feed.decay_s, lost / 20.0)
    p.labels["length_s"] = length
    return p


def notes_damaged(rng: Generator, seed: int, family: str) -> Plan:
    """What the recorder noted is damaged: every copy of one or more notes, one copy only, or another recording's notes beside."""
    p = base(rng, seed, family, delivery="frames")
    kinds = ("identity", "calibration", "limits", "answers")
    some = tuple(k for k in kinds if chance(rng, 0.4)) or (one_of(rng, *kinds),)
    how = one_of(rng, "lost", "lost", "hurt", "another")
    if how == "lost":
        p.record.tricks["notes lost"] = some
    elif how == "hurt":
        p.record.tricks["notes hurt"] = some
    else:
        p.record.tricks["notes of another"] = True
    if "answers" in some and chance(rng, 0.5):  # an answer that alone stands against a PASS
        p.record.answers["cranked_with_key"] = False
    return p


def torn(rng: Generator, seed: int, family: str) -> Plan:
    """The file ends before its time: in a crank, at the release, soon after."""
    p = base(rng, seed, family, delivery="frames" if chance(rng, 0.6) else "board")
    c = p.cranks[-1]
    p.record.tricks["torn"] = one_of(
        rng, c.begin_s + rng.uniform(0.0, 0.2), rng.uniform(c.begin_s, c.end_s), c.end_s + log_uniform(rng, 0.01, 6.0)
    )
    return p


def late(rng: Generator, seed: int, family: str) -> Plan:
    """Recording begins with the key on already, or in the crank."""
    p = base(rng, seed, family)
    c = p.cranks[0]
    on = p.borders()["key_on"]
    p.record.begin_s = one_of(
        rng, on + log_uniform(rng, 0.001, 1.0), rng.uniform(on, c.begin_s), rng.uniform(c.begin_s, c.end_s)
    )
    return p


def key_never_off(rng: Generator, seed: int, family: str) -> Plan:
    """The feed is live from the first sample to the last: always-live terminal, or the key was on before."""
    p = base(rng, seed, family, key_off=chance(rng, 0.5))
    p.feed.live_in = (OFF, ON, START)
    p.feed.relay = None
    return p


def too_short(rng: Generator, seed: int, family: str) -> Plan:
    """A crank shorter than can prove anything and no engine that runs, or the watch ends too soon after it."""
    p = base(rng, seed, family, quick=False, runs=False, cranks=1)
    c = p.cranks[0]
    if chance(rng, 0.6):
        held = around(rng, 2.0, spread=8.0)
        c.key_end_s = c.begin_s + held
    p.key = [x for x in p.key if x[1] != OFF]
    p.key[-1] = (c.key_end_s, ON)
    p.feed.cuts = [x for x in p.feed.cuts if x.begin_s < c.key_start_s + 0.01]
    p.record.end_s = c.end_s + around(rng, 2.0, spread=6.0)
    return p


def remote_switch(rng: Generator, seed: int, family: str) -> Plan:
    """Cranked by a remote switch on the solenoid: the key stays in ON, so START of the key is not proved."""
    p = base(rng, seed, family, lead=True)
    p.key = [x for x in p.key if x[1] != START]
    p.key = [x for k, x in enumerate(p.key) if k == 0 or x[1] != p.key[k - 1][1]]
    for c in p.cranks:
        c.remote = True
    p.record.answers["cranked_with_key"] = False
    p.feed.cuts = [x for x in p.feed.cuts if x.begin_s < p.cranks[0].key_start_s - 0.01]
    if chance(rng, 0.3):
        p.feed.live_in = (ON,)
    return p


def bridged(rng: Generator, seed: int, family: str) -> Plan:
    """The starter's big contacts are bridged: it cranks with the S terminal dead and the key in ON."""
    p = remote_switch(rng, seed, family)
    for c in p.cranks:
        c.bridged = True
    if chance(rng, 0.5):
        p.record.answers.pop("cranked_with_key")
    return p


def charger(rng: Generator, seed: int, family: str) -> Plan:
    """A charger or jump pack is on throughout, told or not."""
    p = base(rng, seed, family)
    reported = one_of(rng, True, True, False)
    if reported:
        p.record.answers["charger_connected"] = True
    else:
        p.record.answers.pop("charger_connected", None)
    v = p.scale * rng.uniform(13.2, 14.6)
    p.helpers.append(Helper(-1.0, 1e9, v, v / rng.uniform(60, 400), "charger"))
    p.labels["told"] = reported
    return p


def unplugged(rng: Generator, seed: int, family: str) -> Plan:
    """The module is unplugged: no load on the feed, so its drop is not proved. Told."""
    p = base(rng, seed, family)
    p.record.answers["module_plugged_in"] = False
    p.feed.amps = 0.0
    p.module.amps = 0.03
    return p


def aborted_helped(rng: Generator, seed: int, family: str) -> Plan:
    """An aborted crank, then a charger or jump pack lifts the battery: before, in the last 0.3 s of it, or after."""
    p = base(rng, seed, family, quick=False, runs=False, cranks=1, key_off=False, with_heater=chance(rng, 0.15))
    c = p.cranks[0]
    c.key_end_s = c.begin_s + rng.uniform(0.3, 1.7)
    p.key[-1] = (c.key_end_s, ON)
    p.feed.cuts = [x for x in p.feed.cuts if x.begin_s < c.key_start_s + 0.01]
    when = one_of(rng, "before", "during", "during", "after", "after")
    at = {
        "before": c.key_start_s - log_uniform(rng, 0.05, 1.0),
        "during": c.end_s - rng.uniform(0.0, 0.3),
        "after": c.end_s + log_uniform(rng, 0.005, 2.0),
    }[when]
    v = p.scale * rng.uniform(12.9, 14.6)
    amps = log_uniform(rng, 30, 500)
    p.helpers.append(Helper(at, 1e9, v, 1.5 * p.scale / amps, "jump pack"))
    p.record.end_s = c.end_s + rng.uniform(5.5, 12.0)
    for name in ("charger_connected", "engine_running", "cranked_with_key", "module_plugged_in"):
        p.record.answers.pop(name, None)
    p.labels.update(when=when, helper_v=v)
    return p


def late_crank(c: CrankPlan, by_s: float) -> None:
    """Moves a crank."""
    c.key_start_s += by_s
    c.key_end_s += by_s
