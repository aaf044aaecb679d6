"""A start by its seed: the truth at full rate, and what was recorded of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.trace import Trace
from tests.strangers import board, clips, frames, logger, to_trace
from tests.strangers.families import FAMILIES, NAMES
from tests.strangers.plan import Plan
from tests.strangers.printed import limits
from tests.strangers.sound import bounces
from tests.strangers.world import World, build

_SHARES = np.array([share for _, share in FAMILIES.values()])
_EDGES = np.cumsum(_SHARES) / _SHARES.sum()


@dataclass(frozen=True, slots=True)
class StrangeStart:
    """`world` is the truth. One of `trace`, `data` (a recording's bytes) and `csv` is what was recorded.

    `codes` are the board's bins before holes and torn ends (None for a CSV).
    """

    seed: int
    family: str
    plan: Plan
    world: World
    trace: Trace | None
    data: bytes | None
    csv: logger.CsvStart | None
    codes: board.Codes | None


def family_of(seed: int) -> str:
    """The family that a seed draws: every family in turn by its share, so that counts differ by one at most."""
    place = (seed * 0.6180339887498949) % 1.0
    return NAMES[int(np.searchsorted(_EDGES, place, side="right"))]


def plan_of(seed: int, family: str | None = None) -> Plan:
    """The plan that a seed draws."""
    name = family or family_of(seed)
    rng = np.random.default_rng([seed, NAMES.index(name), 2027])
    p = FAMILIES[name][0](rng, seed, name)
    if p.labels.pop("no bounce", None) is None:
        bounces(np.random.default_rng([seed, 52]), p)
    p.record.begin_s = min(p.record.begin_s, p.record.end_s - 0.5)
    return p


def start(seed: int, family: str | None = None) -> StrangeStart:
    """The start of this seed, and of this family where one is named: the same for ever."""
    p = plan_of(seed, family)
    rng = np.random.default_rng([seed, 53])
    leads = len(p.record.leads)
    w = build(p, board.bin_s(leads) / 2.0)
    at = clips.at_the_clips(w)
    if p.record.delivery == "csv":
        return StrangeStart(seed, p.family, p, w, None, None, logger.write(rng, p, w.t_s, at), None)
    spikes = np.array(p.record.tricks.get("spikes", []), dtype=float).reshape(-1, 2)
    minimum = limits(p.system_v)["module_minimum_v"]
    codes = board.sample(rng, w.t_s, w.even, at, minimum, p.system_v, p.record.tricks.get("full_scale_v"), spikes)
    kept = to_trace.taken_away(p, codes, p.record.begin_s)
    if p.record.delivery == "frames":
        return StrangeStart(seed, p.family, p, w, None, frames.recording(p, kept), None, codes)
    return StrangeStart(seed, p.family, p, w, to_trace.trace(p, kept), None, None, codes)
