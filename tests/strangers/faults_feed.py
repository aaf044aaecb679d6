"""Families of faults of the key feed, each with a severity from far inside its limit to far outside, on any border.

Every function takes (rng, seed, family) and gives a plan. `culprits` are a family's own words for what it did; whether that is
over a limit is for the grader to say from the truth.
"""

from __future__ import annotations

from numpy.random import Generator

from tests.strangers.draw import around, chance, log_uniform, one_of
from tests.strangers.plan import OFF, ON, START, Backfeed, Cut, Drop, Plan
from tests.strangers.sound import relay, sound_start


def base(rng: Generator, seed: int, family: str, **options: object) -> Plan:
    """A sound start to put a fault in: quick in a quarter of the draws."""
    options.setdefault("quick", chance(rng, 0.25))
    return sound_start(rng, seed, family, **options)  # type: ignore[arg-type]


def a_crank(rng: Generator, p: Plan) -> int:
    """Number of one crank, the last more often."""
    return len(p.cranks) - 1 if chance(rng, 0.5) else int(rng.integers(len(p.cranks)))


def near_a_border(rng: Generator, p: Plan, length_s: float, *, key_on_only: bool = True) -> float:
    """Where to begin a fault of `length_s` so that it lies just before, across or just after a border, or anywhere."""
    borders = p.borders()
    wanted = [b for b in borders.values() if b > borders["key_on"] - 0.01]
    release = [b for name, b in borders.items() if name.startswith("release")]
    wanted += [r + x for r in release for x in (0.3, 2.0, 5.0) if r + x < p.record.end_s - 0.3]
    wanted += [r - x for r in release for x in (0.03, 0.25) if r - x > p.cranks[0].begin_s]
    if chance(rng, 0.2):
        at = rng.uniform(borders["key_on"] + 0.05, max(borders["key_on"] + 0.1, p.record.end_s - length_s - 0.05))
    else:
        border = wanted[int(rng.integers(len(wanted)))]
        gap = log_uniform(rng, 2e-4, 0.05)
        at = border + one_of(rng, gap, -gap - length_s, -length_s * rng.uniform(0, 1))
    p.labels["fault at"] = round(at, 4)
    return float(max(at, 0.3))


def loss_length(rng: Generator) -> float:
    """5 us to 2 s; a third around the shortest that counts (1 ms) or a bounce's limit (10 ms)."""
    if chance(rng, 0.4):
        return around(rng, one_of(rng, 1e-3, 1e-2), near=0.7)
    return log_uniform(rng, 5e-6, 2.0)


def stiff(p: Plan, rng: Generator) -> None:
    """A feed that follows its contact: little capacitor, so that short openings are seen as what they are."""
    p.feed.relay = None
    p.feed.decay_s = log_uniform(rng, 2e-5, 5e-4)
    p.feed.charge_s = min(p.feed.charge_s, 2e-5)


def dead_in_start(rng: Generator, seed: int, family: str) -> Plan:
    """The feed's terminal is not made in START: dead in every crank, or in one, or for the last part of one."""
    p = base(rng, seed, family)
    n = a_crank(rng, p)
    kind = one_of(rng, "all", "all", "one", "part", "late")
    for k, c in enumerate(p.cranks):
        held = c.key_end_s - c.key_start_s
        lag = log_uniform(rng, 1e-4, 0.02)
        if kind == "all" or (kind == "one" and k == n):
            p.feed.cuts.append(Cut(c.key_start_s - lag, c.key_end_s + log_uniform(rng, 1e-4, 0.02)))
        elif kind == "part" and k == n:
            p.feed.cuts.append(Cut(c.key_start_s + rng.uniform(0.1, 0.9) * held, c.key_end_s + lag))
        elif kind == "late" and k == n:
            length = loss_length(rng)
            p.feed.cuts.append(Cut(c.key_end_s - length, c.key_end_s + lag))
    p.feed.cuts.sort(key=lambda c: c.begin_s)
    p.culprits.add("feed_dead_in_start" if kind in ("all", "one", "part") else "feed_lost_at_turn")
    p.labels["kind"] = kind
    return p


def lost_at_turn(rng: Generator, seed: int, family: str) -> Plan:
    """Break before make: nothing on the feed while the key moves, ON to START, back, or both; 0.2 to 400 ms."""
    p = base(rng, seed, family)
    stiff(p, rng)
    length = around(rng, one_of(rng, 1e-3, 1e-2), spread=40.0)
    way = one_of(rng, "to", "back", "both")
    n = a_crank(rng, p)
    for k, c in enumerate(p.cranks):
        if k != n and chance(rng, 0.5):
            continue
        if way in ("to", "both"):
            begin = c.key_start_s - length * rng.uniform(0.3, 1.0)
            p.feed.cuts.append(Cut(begin, begin + length))
        if way in ("back", "both"):
            begin = c.key_end_s - length * rng.uniform(0.0, 0.7)
            p.feed.cuts.append(Cut(begin, begin + length))
    p.culprits.add("feed_lost_at_turn")
    p.labels.update(length_s=length, way=way)
    return p


def single_loss(rng: Generator, seed: int, family: str) -> Plan:
    """One loss of 5 us to 2 s on a border."""
    p = base(rng, seed, family)
    if chance(rng, 0.7):
        stiff(p, rng)
    length = loss_length(rng)
    at = near_a_border(rng, p, length)
    p.feed.cuts.append(Cut(at, at + length))
    p.culprits.add("feed_loose")
    p.labels["length_s"] = length
    if p.feed.relay:
        p.labels["cuts behind relay"] = True
    return p


def chatter(rng: Generator, seed: int, family: str) -> Plan:
    """2 to 60 losses of 0.05 to 20 ms within 0.01 to 3 s."""
    p = base(rng, seed, family)
    stiff(p, rng)
    count = int(log_uniform(rng, 2, 60))
    span = log_uniform(rng, 0.01, 3.0)
    typical = around(rng, 1e-3, spread=20.0)
    at = near_a_border(rng, p, span)
    for s in sorted(rng.uniform(at, at + span, count)):
        p.feed.cuts.append(Cut(s, s + typical * rng.uniform(0.4, 1.6)))
    p.culprits.add("feed_loose")
    p.labels.update(count=count, span_s=span, each_s=typical)
    return p


def spikes(rng: Generator, seed: int, family: str) -> Plan:
    """Losses of 5 us (3 to 30) by the hundred, and in half of the draws a drop of the feed beneath them."""
    p = base(rng, seed, family)
    stiff(p, rng)
    p.feed.decay_s = log_uniform(rng, 1e-6, 2e-5)
    count = int(log_uniform(rng, 20, 900))
    typical = log_uniform(rng, 3e-6, 3e-5)
    c = p.cranks[a_crank(rng, p)]
    begin, end = one_of(
        rng, (c.begin_s, c.end_s), (c.key_start_s - 0.3, c.key_start_s), (c.key_end_s + 0.05, c.key_end_s + 2.0)
    )
    for s in sorted(rng.uniform(begin, end, count)):
        p.feed.cuts.append(Cut(s, s + typical * rng.uniform(0.6, 1.4)))
    p.culprits.add("feed_loose")
    if chance(rng, 0.5):
        v = around(rng, 1.0 * p.scale, spread=4.0)
        p.feed.drops.append(Drop(begin, end, v))
        p.labels["drop_v"] = v
        p.culprits.add("feed_resistance")
    p.labels.update(count=count, each_s=typical)
    return p


def crackle(rng: Generator, seed: int, family: str) -> Plan:
    """Losses right after the key goes on: 0.02 to 1 s of them."""
    p = base(rng, seed, family)
    stiff(p, rng)
    key_on = p.borders()["key_on"]
    p.feed.cuts = [c for c in p.feed.cuts if c.begin_s > key_on + 0.02]
    room = p.cranks[0].key_start_s - key_on - 0.05
    span = min(log_uniform(rng, 0.005, 1.0), room)
    count = int(log_uniform(rng, 2, 150))
    typical = log_uniform(rng, 2e-5, 2e-3)
    for s in sorted(rng.uniform(key_on, key_on + span, count)):
        p.feed.cuts.append(Cut(s, s + typical * rng.uniform(0.4, 1.6)))
    p.culprits.add("feed_loose")
    p.labels.update(count=count, span_s=span, each_s=typical)
    return p


def steady_drop(rng: Generator, seed: int, family: str) -> Plan:
    """0.2 to 4 V lost in one phase, one crank, or part of a crank."""
    p = base(rng, seed, family)
    limit = (0.5 if p.feed.loaded else 1.0) * p.scale
    v = around(rng, limit, spread=4.0)
    c = p.cranks[a_crank(rng, p)]
    held = c.end_s - c.begin_s
    key_on = p.borders()["key_on"]
    where = one_of(rng, "always", "crank", "part", "turn and crank", "on", "after", "last part")
    spans = {
        "always": (key_on - 0.1, p.record.end_s),
        "crank": (c.begin_s, c.end_s),
        "part": (c.begin_s + rng.uniform(0.1, 0.4) * held, c.begin_s + rng.uniform(0.5, 0.95) * held),
        "turn and crank": (c.key_start_s, c.key_end_s),
        "on": (key_on + 0.05, p.cranks[0].key_start_s - rng.uniform(0.0, 0.1)),
        "after": (c.key_end_s + rng.uniform(0.0, 0.4), p.record.end_s),
        "last part": (c.end_s - rng.uniform(0.2, 0.9) * held, c.end_s),
    }
    a, b = spans[where]
    p.feed.drops.append(Drop(a, b, v, edge_s=log_uniform(rng, 2e-4, 0.05)))
    p.culprits.add("feed_resistance")
    p.labels.update(drop_v=v, where=where)
    return p


def brief_drop(rng: Generator, seed: int, family: str) -> Plan:
    """5 to 50 ms of a drop around the brief limit."""
    p = base(rng, seed, family)
    v = around(rng, 2.0 * p.scale, spread=3.0)
    length = log_uniform(rng, 0.005, 0.05)
    at = near_a_border(rng, p, length)
    p.feed.drops.append(Drop(at, at + length, v, edge_s=log_uniform(rng, 5e-5, 1e-3)))
    p.culprits.add("feed_loose")
    p.labels.update(drop_v=v, length_s=length)
    return p


def sinking(rng: Generator, seed: int, family: str) -> Plan:
    """The feed sinks after the release: to a voltage, at some moment, and stays or chatters there."""
    p = base(rng, seed, family, key_off=chance(rng, 0.3))
    c = p.cranks[-1]
    begin = min(c.key_end_s + log_uniform(rng, 0.05, 4.5), p.record.end_s - 0.5)
    to = around(rng, 7.0 if p.system_v == 12 else 10.0, spread=2.5)
    p.feed.drops.append(Drop(begin, p.record.end_s + 1, to_v=to, edge_s=0.005, sink_s=log_uniform(rng, 0.01, 1.0)))
    if chance(rng, 0.3):
        for s in sorted(rng.uniform(begin, p.record.end_s - 0.1, int(rng.integers(3, 30)))):
            p.feed.cuts.append(Cut(s, s + log_uniform(rng, 1e-4, 0.05)))
    p.culprits.add("feed_resistance")
    p.labels.update(to_v=to, sinks_at=begin)
    return p


def held_low(rng: Generator, seed: int, family: str) -> Plan:
    """The feed held at about the module's minimum while the battery is up, in START, in a part of it, or after."""
    p = base(rng, seed, family)
    minimum = 7.0 if p.system_v == 12 else 10.0
    to = minimum * rng.uniform(0.7, 1.1)
    c = p.cranks[a_crank(rng, p)]
    length = log_uniform(rng, 0.003, 4.0)
    a = one_of(rng, c.key_start_s, c.begin_s, c.begin_s + rng.uniform(0.1, 0.9) * (c.end_s - c.begin_s), c.end_s, c.end_s + 0.5)
    b = min(a + length, p.record.end_s + 1)
    p.feed.drops.append(Drop(a, b, to_v=to, edge_s=log_uniform(rng, 1e-4, 5e-3)))
    p.culprits.add("feed_resistance")
    p.labels.update(to_v=to, length_s=length)
    return p


def from_start_terminal(rng: Generator, seed: int, family: str) -> Plan:
    """The feed hangs on START: dead in ON, live only while cranking."""
    p = base(rng, seed, family, cranks=1)
    p.feed.live_in = (START,)
    p.culprits.add("feed_from_start_terminal")
    return p


def relay_lets_go(rng: Generator, seed: int, family: str) -> Plan:
    """A relay whose coil lets go as the battery sags: hold voltage from far below to above the sag."""
    p = base(rng, seed, family)
    p.feed.relay = relay(rng, p.system_v)
    p.feed.relay.hold_v = rng.uniform(3.0, 10.0) * p.scale
    p.feed.relay.pull_v = min(p.feed.relay.hold_v + rng.uniform(0.5, 2.5) * p.scale, 11.3 * p.scale)
    p.feed.decay_s = log_uniform(rng, 5e-5, 0.01)
    p.culprits.add("feed_relay")
    p.labels.update(hold_v=p.feed.relay.hold_v, pull_v=p.feed.relay.pull_v)
    return p


def ballast(rng: Generator, seed: int, family: str) -> Plan:
    """A ballast resistor in ON, by-passed in START: a share of the source lost while the key stands in ON."""
    p = base(rng, seed, family)
    share = around(rng, 1.0 / 12.0, spread=5.0)
    share = min(share, 0.6)
    by_passed = chance(rng, 0.6)
    key_on = p.borders()["key_on"]
    at = key_on - 0.1
    if by_passed:
        for c in p.cranks:
            p.feed.drops.append(Drop(at, c.key_start_s, share=share, edge_s=2e-4))
            at = c.key_end_s
    p.feed.drops.append(Drop(at, p.record.end_s + 1, share=share, edge_s=2e-4))
    p.culprits.add("feed_ballast")
    p.labels.update(share=share, by_passed=by_passed)
    return p


def backfeed(rng: Generator, seed: int, family: str) -> Plan:
    """Voltage comes back on the feed after a key-off: a lamp lead, a coil, another circuit; 0.5 to 11 V, a while or for good."""
    p = base(rng, seed, family, key_off=True, cranks=int(rng.choice([1, 2, 3])))
    offs = sum(1 for _, to in p.key if to == OFF)
    share = min(around(rng, one_of(rng, 2.0, 5.0) / 12.0, spread=4.0), 0.95)
    until = one_of(rng, 100.0, log_uniform(rng, 0.02, 3.0))
    p.feed.backfeed = Backfeed(share, until, only=int(rng.integers(offs)) if chance(rng, 0.5) else None)
    p.record.end_s += rng.uniform(0.0, 3.0)
    p.culprits.add("backfeed_after_off")
    p.labels.update(share=share, until_s=until)
    return p


def short_losses(rng: Generator, seed: int, family: str) -> Plan:
    """Losses each too short to count, their sum around the total that only warns (5 ms)."""
    p = base(rng, seed, family)
    stiff(p, rng)
    total = around(rng, 5e-3, spread=6.0)
    each = log_uniform(rng, 5e-5, 8e-4)
    count = max(int(total / each), 1)
    count = min(count, 150)
    c = p.cranks[a_crank(rng, p)]
    a, b = one_of(
        rng,
        (p.borders()["key_on"] + 0.02, p.record.end_s - 0.1),
        (c.begin_s, c.end_s),
        (c.end_s, min(c.end_s + 2.0, p.record.end_s - 0.1)),
    )
    for s in sorted(rng.uniform(a, b, count)):
        p.feed.cuts.append(Cut(s, s + each * rng.uniform(0.8, 1.2)))
    p.culprits.add("feed_loose")
    p.labels.update(count=count, each_s=each)
    return p


def lost_between(rng: Generator, seed: int, family: str) -> Plan:
    """Dead for 0.05 to 2 s between two cranks or after the last one with the key ON: it looks like a key-off."""
    p = base(rng, seed, family, cranks=int(rng.choice([1, 2, 2, 3])), key_off=False)
    # the key stays ON between the cranks, whatever was drawn
    p.key = [p.key[0]] + [x for c in p.cranks for x in ((c.key_start_s, START), (c.key_end_s, ON))]
    n = a_crank(rng, p)
    after = p.cranks[n].end_s
    nxt = p.cranks[n + 1].key_start_s if n + 1 < len(p.cranks) else p.record.end_s
    length = min(log_uniform(rng, 0.05, 2.5), nxt - after - 0.1)
    at = after + rng.uniform(0.05, max(nxt - after - length, 0.06))
    if chance(rng, 0.2):
        length = nxt - at + 0.5
    p.feed.cuts.append(Cut(at, at + length))
    p.feed.decay_s = log_uniform(rng, 1e-3, 0.05)
    p.culprits.add("feed_loose")
    p.labels.update(length_s=length)
    return p
