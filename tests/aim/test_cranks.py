"""C: a crank was seen, by the starter's own circuit, and it or the running engine proves the feed."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from firstcrank.trace import Trace

from .ask import FAIL, NO, PASS, RUNS, Context, limits
from .case import Case, hold, table
from .maker import Crank, Made, Setup, Volts

OUT = "no verdict"
NOT_RUNNING = Context(cranked_with_key=True, module_plugged_in=True, engine_running=False)
CHARGER = Context(cranked_with_key=True, module_plugged_in=True, charger_connected=True)
RUNS_ON_CHARGER = replace(RUNS, charger_connected=True)


def crank(length_s: float, **fields: float) -> Trace:
    """One crank of a length, nobody asked, watched for 2.4 s."""
    return Made(Setup(cranks=(Crank(3.0, length_s, **fields),), end_s=3.0 + length_s + 2.4)).bins()


def quick(
    length_s: float = 0.9,
    catch_s: float = 0.25,
    charges_s: float | None = 2.0,
    watched_s: float = 9.0,
    rest_v: float = 12.6,
    lead: bool = True,
) -> Made:
    """A healthy engine that starts at once: it takes over before the starter is let go and charges the battery later."""
    cranks = (Crank(3.0, length_s, catch_s),)
    return Made(Setup(cranks=cranks, end_s=3.0 + length_s + watched_s, charges_s=charges_s, rest_v=rest_v, lead=lead))


def charged_to(volts: float, rest_v: float = 12.6) -> Trace:
    """Charged to this and no more from 1.5 s after LET GO."""
    made = quick(charges_s=None, rest_v=rest_v)
    since = 3.9 + 1.5

    def towards(level_v: float, t: Volts, v: Volts) -> Volts:
        return v + (level_v - v) * (1.0 - np.exp(-(t - since) / 0.2))

    made.change("battery", since, 99.0, partial(towards, volts))
    made.change("key_switch", since, 99.0, partial(towards, volts - 0.12))
    return made.bins()


def charge_ends(after_s: float) -> Trace:
    """Charged from 2 s after LET GO, and no longer from `after_s` after it."""
    made = quick()
    for role in ("battery", "key_switch"):
        drop = 0.0 if role == "battery" else 0.12
        made.put(role, 12.55 - drop, 3.9 + after_s, 99.0)
    return made.bins()


C1 = [
    Case("C1 inside: 2.05 s", lambda: crank(2.05), PASS, "crank_long_enough", "pass"),
    Case("C1 outside: 1.95 s", lambda: crank(1.95), NO, "crank_long_enough", OUT),
    Case("C1 limit: crank_min_s", lambda: crank(1.95), PASS, "crank_long_enough", "pass", limits=limits(crank_min_s=1.9)),
    Case("C1 inside: one of two cranks is long", lambda: Made(Setup(cranks=(Crank(3.0, 0.6), Crank(6.0, 2.2)), end_s=10.5)).bins(),
         PASS, "crank_long_enough", "pass"),
    Case("C1 outside: two of 1.2 s", lambda: Made(Setup(cranks=(Crank(3.0, 1.2), Crank(6.0, 1.2)), end_s=9.8)).bins(), NO,
         "crank_long_enough", OUT),
    Case("C1 told, inside: 0.33 s", lambda: crank(0.33), PASS, "crank_long_enough", "pass", context=RUNS),
    Case("C1 told, outside: 0.27 s", lambda: crank(0.27), NO, "crank_long_enough", OUT, context=RUNS),
    Case("C1 told, but a charger too", lambda: crank(0.9), NO, "crank_long_enough", OUT, context=RUNS_ON_CHARGER),
    Case("C1 told, 0.9 s released as it fires", lambda: crank(0.9), PASS, "crank_long_enough", "pass", context=RUNS),
    Case("C1 not told, 0.9 s", lambda: crank(0.9), NO, "crank_long_enough", OUT),
    Case("C1 seen: takeover and charge", lambda: quick().bins(), PASS, "crank_long_enough", "pass"),
    Case("C1 seen, but told that it did not run", lambda: quick().bins(), NO, "crank_long_enough", OUT, context=NOT_RUNNING),
    Case("C1 seen, but a charger told", lambda: quick().bins(), NO, "crank_long_enough", OUT, context=CHARGER),
    Case("C1 no takeover: abrupt end", lambda: quick(catch_s=0.0).bins(), NO, "crank_long_enough", OUT),
    Case("C1 no charge", lambda: quick(charges_s=None).bins(), NO, "crank_long_enough", OUT),
    Case("C1 charge at 4 s", lambda: quick(charges_s=4.0).bins(), PASS, "crank_long_enough", "pass"),
    Case("C1 charge at 7 s", lambda: quick(charges_s=7.0, watched_s=13.0).bins(), NO, "crank_long_enough", OUT),
    Case("C1 watched for 5.2 s", lambda: quick(watched_s=5.2).bins(), PASS, "crank_long_enough", "pass"),
    Case("C1 watched for 4.8 s", lambda: quick(watched_s=4.8).bins(), NO, "crank_long_enough", OUT),
    Case("C1 charged to 13.1 V", lambda: charged_to(13.1), PASS, "crank_long_enough", "pass"),
    Case("C1 charged to 12.95 V", lambda: charged_to(12.95), NO, "crank_long_enough", OUT),
    Case("C1 charged by 0.35 V over 12.9", lambda: charged_to(13.25, 12.9), PASS, "crank_long_enough", "pass"),
    Case("C1 charged by 0.25 V over 12.9", lambda: charged_to(13.15, 12.9), NO, "crank_long_enough", OUT),
    Case("C1 stalls at 4.0 s", lambda: charge_ends(4.0), NO, "crank_long_enough", OUT),
    Case("C1 takeover, 0.27 s", lambda: quick(length_s=0.27, catch_s=0.12).bins(), NO, "crank_long_enough", OUT),
    Case("C1 short, a loss stands", lambda: quick(charges_s=None).feed(0.0, 3.5, 0.05).bins(), FAIL, "crank_long_enough", OUT),
]  # fmt: skip


@table(C1)
def test_crank_long_enough(case: Case) -> None:
    hold(case)


def sags_by(volts: float, lead: bool = True, inrush_v: float = 0.0, swing_v: float = 0.0) -> Trace:
    """A crank that pulls the battery down by this in all, with the lead live."""
    part = Crank(3.0, 3.0, sag_v=volts - 0.08, inrush_v=inrush_v, swing_v=swing_v)
    return Made(Setup(cranks=(part,), lead=lead)).bins()


def without_lead(**fields: float) -> Trace:
    return Made(Setup(cranks=(Crank(3.0, 3.0, **fields),), lead=False)).bins()


def bridged() -> Made:
    """The battery sags as in a crank and the starter lead stays dead."""
    return Made().lead("starter_coil", lambda m: np.zeros_like(m.t))


def only_the_lead() -> Trace:
    """The starter lead is live and the battery does not sag."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=0.0, inrush_v=0.0, swing_v=0.0),)))
    return made.bins()


def heater(depth_v: float, tau_s: float, lead: bool, share: float = 0.5) -> Trace:
    """No crank: an intake heater's load with the battery's polarisation, from 3.0 to 6.5 s."""
    made = Made(Setup(cranks=(), lead=lead))
    if lead:
        made.lead("starter_coil", lambda m: np.zeros_like(m.t))

    def load(t: np.ndarray, v: np.ndarray) -> np.ndarray:
        return np.where(v > 1.0, v - depth_v * (1.0 - share * np.exp(-(t - 3.0) / tau_s)), v)

    for role in ("battery", "key_switch"):
        made.change(role, 3.0, 3.5, load)
    return made.bins()


def long_enough_swings(count: int) -> Trace:
    """Without the lead: a sag that swings for so many compressions and is level for the rest."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, swing_v=0.0),), lead=False))
    end_s = 3.25 + count / 9.0

    def swings(t: np.ndarray, v: np.ndarray) -> np.ndarray:
        return v + 0.35 * np.sin(2 * np.pi * 9.0 * (t - 3.25))

    for role in ("battery", "key_switch"):
        made.change(role, 3.25, end_s - 3.25, swings)
    return made.bins()


def deepens(volts: float) -> Trace:
    """Without the lead: a sag that goes on deepening by this for a second, as no starter's does."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=1.5, inrush_v=0.8),), lead=False))
    for role in ("battery", "key_switch"):
        made.change(role, 3.1, 2.9, lambda t, v: v - volts * np.clip(t - 3.1, 0.0, 1.0))
    return made.bins()


C2 = [
    Case("C2 lead: sags by 2.3 V", lambda: Made().bins(), PASS, "crank_by_starter", "pass"),
    Case("C2 lead inside: sags by 0.3 V", lambda: sags_by(0.3, swing_v=0.06), PASS, "crank_by_starter", "pass"),
    Case("C2 lead outside: sags by 0.12 V", lambda: sags_by(0.12), NO, "crank_by_starter", OUT),
    Case("C2 lead outside: sags, nothing turns", lambda: sags_by(2.3), NO, "crank_by_starter", OUT),
    Case("C2 lead outside: inrush, nothing turns", lambda: sags_by(1.2, inrush_v=2.5), NO, "crank_by_starter", OUT),
    Case("C2 lead live and no sag", only_the_lead, NO, "crank_by_starter", OUT),
    Case("C2 no crank", lambda: Made(Setup(cranks=())).bins(), NO, "crank_seen", OUT),
    Case("C2 no crank, a loss stands", lambda: Made(Setup(cranks=())).feed(0.0, 4.0, 0.05).bins(), FAIL, "crank_seen", OUT),
    Case("C2 sag without the lead live", lambda: bridged().bins(), NO, "crank_seen", OUT),
    Case("C2 heater, lead on", lambda: heater(1.5, 0.8, True), NO, "crank_seen", OUT),
    Case("C2 no lead: a crank", lambda: Made(Setup(lead=False)).bins(), PASS, "crank_seen", "pass"),
    Case("C2 no lead inside: sags by 1.1 V", lambda: without_lead(sag_v=1.2, inrush_v=0.6, swing_v=0.12), PASS, "crank_seen",
         "pass"),
    Case("C2 no lead outside: sags by 0.7 V, a fan", lambda: without_lead(sag_v=0.6, inrush_v=1.6, swing_v=0.12), NO, "crank_seen",
         OUT),
    Case("C2 no lead outside: inrush of 0.6 V", lambda: without_lead(sag_v=0.4, inrush_v=0.15, swing_v=0.1), NO, "crank_seen", OUT),
    Case("C2 no lead: no compressions", lambda: without_lead(swing_v=0.0), NO, "crank_seen", OUT),
    Case("C2 no lead: one compression", lambda: long_enough_swings(1), NO, "crank_seen", OUT),
    Case("C2 no lead: deepest later", lambda: deepens(2.5), NO, "crank_seen", OUT),
    Case("C2 no lead: hardly deeper later", lambda: deepens(0.3), PASS, "crank_seen", "pass"),
    Case("C2 no lead: no crank", lambda: Made(Setup(cranks=(), lead=False)).bins(), NO, "crank_seen", OUT),
]  # fmt: skip


@table(C2)
def test_crank_seen(case: Case) -> None:
    hold(case)


def test_a_crank_is_where_the_lead_says() -> None:
    judgement = hold(Case("crank", lambda: crank(2.5), PASS, "crank_seen", "pass"))
    (one,) = judgement.cranks
    assert one.by_lead
    assert abs(one.start_s - 3.0) < 0.002
    assert abs(one.end_s - 5.5) < 0.002
