"""The starts that the properties are held against: simulated, strangers' and hand-made. Each is made once."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from firstcrank.limits import Limits, shipped
from firstcrank.trace import Trace
from firstcrank_sim.board.to_trace import to_trace
from firstcrank_sim.scenarios.catalogue import simulate_many
from tests.aim.ask import ASKED, RUNS, Context, ask
from tests.aim.maker import Crank, Made, Setup
from tests.strangers.start import start as strange_start


@dataclass(frozen=True, slots=True)
class Known:
    """A start with what is asked with it."""

    name: str
    trace: Trace = field(repr=False)
    context: Context = field(repr=False)
    limits: Limits = field(repr=False)
    made: Made | None = field(default=None, repr=False)


SIMULATED = (
    "healthy", "feed_dead_in_start", "feed_loose", "one_dropout", "feed_resistance", "feed_ballast", "turn_bounce", "short_glitch",
    "battery_weak", "ground_module", "loaded_good", "two_batteries", "healthy_24v", "chatter_in_start",
)  # fmt: skip
STRANGE = ("sound", "sound_no_lead", "quick_lead", "dead_in_start", "single_loss", "steady_drop", "inrush_dip", "crackle")
TWO = Setup(cranks=(Crank(3.0, 2.2), Crank(7.5, 2.2)), end_s=12.0)
HAND: dict[str, tuple[Callable[[], Made], Context]] = {
    "sound": (lambda: Made(), ASKED),
    "sound without lead": (lambda: Made(Setup(lead=False, end_s=9.0)), ASKED),
    "two cranks": (lambda: Made(TWO), ASKED),
    "key off at the end": (lambda: Made(Setup(off_s=8.2, end_s=9.0)), ASKED),
    "quick, told": (lambda: Made(Setup(cranks=(Crank(3.0, 0.9, 0.2),), charges_s=2.0, end_s=8.0)), RUNS),
    "dead in START": (lambda: Made().feed(0.0, 2.95, 3.1), ASKED),
    "a loss with KEY ON": (lambda: Made().feed(0.0, 1.8, 0.05), ASKED),
    "a loss after": (lambda: Made().feed(0.0, 7.2, 0.004), ASKED),
    "a steady drop": (lambda: Made().drop(1.2, 1.0, 99.0), ASKED),
    "a bounce": (lambda: Made().feed(0.0, 2.9, 0.006), ASKED),
    "a vague loss": (lambda: Made().feed(0.0, 4.5, 0.001), ASKED),
    "a drop near its limit": (lambda: Made().drop(0.88, 4.0, 0.7), ASKED),
    "the second crank lost": (lambda: Made(TWO).feed(0.0, 8.0, 0.02), ASKED),
    "short losses": (lambda: _short(Made()), ASKED),
}
STRANGE_SEEDS = range(1, 1 + int(os.environ.get("FIRSTCRANK_STRANGE", "1")))  # a long run by hand takes more


def _short(made: Made) -> Made:
    for i in range(7):
        made.feed(0.0, 3.5 + 0.1 * i, 0.0005)
    return made


@lru_cache(maxsize=1)
def simulated() -> tuple[Known, ...]:
    """Simulated starts, as the simulated board records them."""
    truths = simulate_many([(name, 1) for name in SIMULATED])
    return tuple(Known(t.name, to_trace(t), t.plan.context, shipped(t.system_v)) for t in truths)


@lru_cache(maxsize=1)
def strange() -> tuple[Known, ...]:
    """Strangers' starts that come as a trace."""
    found = []
    for family in STRANGE:
        for seed in STRANGE_SEEDS:
            s = strange_start(seed, family)
            for later in range(100, 140):
                if s.trace is not None:
                    break
                s = strange_start(seed + later, family)
            if s.trace is not None:
                context = Context(**s.plan.record.answers) if hasattr(s.plan.record, "answers") else ASKED
                found.append(Known(f"strange {family} {s.seed}", s.trace, context, shipped(s.plan.system_v)))
    return tuple(found)


@lru_cache(maxsize=1)
def hand_made() -> tuple[Known, ...]:
    """Hand-made starts."""
    found = []
    for name, (make, context) in HAND.items():
        made = make()
        found.append(Known(name, made.bins(), context, shipped(12), made))
    return tuple(found)


@lru_cache(maxsize=1)
def known() -> tuple[Known, ...]:
    """All of them."""
    return (*hand_made(), *simulated(), *strange())


@lru_cache(maxsize=256)
def _judged(name: str) -> Any:
    one = next(k for k in known() if k.name == name)
    return ask(one.trace, one.context, one.limits)


def judged(start: Known) -> Any:
    """Its judgement, made once."""
    return _judged(start.name)


def live_span(start: Known) -> tuple[float, float]:
    """From the end of the phase key off to OFF or the end."""
    phases = [p for p in judged(start).phases if p.name != "key off"]
    if not phases:
        return 0.0, 0.0
    return phases[0].start_s, phases[-1].end_s


def seen(judgement: Any) -> list[tuple[Any, ...]]:
    """What must be equal where a change changes nothing: verdicts and every finding, without its times and words."""
    rows = [(f.check, f.result, f.phase, f.crank) for f in judgement.findings]
    return [judgement.verdict, judgement.feed.verdict, *rows]


def bins_between(trace: Trace, from_s: float, to_s: float) -> np.ndarray:
    """Indices of bins wholly between."""
    return np.flatnonzero((trace.start_s >= from_s - 1e-9) & (trace.end_s <= to_s + 1e-9))
