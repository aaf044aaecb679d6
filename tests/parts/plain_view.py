"""A start as a test writes it down, ready for one check: key, cranks, phases and losses are given, not read from the volts.

Without other orders: key ON at 1 s, START from 3 s to 5 s, 8 s in all, bins of 1/256 s; battery 12.6 V, 10 V while cranking, the
feed 0.1 V below it from ON on. Borders have widths, so that their early and late ends can be told apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstcrank.analysis.account import intervals_of
from firstcrank.analysis.cranks import CrankInterval, Cranks
from firstcrank.analysis.feed import feed_of
from firstcrank.analysis.key import Key, OffTime
from firstcrank.analysis.losses import Losses
from firstcrank.analysis.view import View
from firstcrank.limits import Limits, shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import Border, Crank, Dropout, DropoutKind, Finding, Interval
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import Channel, Trace, Uncertainty

Volts = NDArray[np.float64]
BIN_S = 1.0 / 256.0
ON = Border(1.0, 1.0 + BIN_S, "the feed rose")
CRANK = (3.0, 5.0)


def border(at_s: float, width_s: float = 0.0) -> Border:
    """A border from `at_s` on, so wide."""
    return Border(at_s, at_s + width_s, "written down")


def crank_of(
    start_s: float, end_s: float, *, sag_s: float | None = None, by_lead: bool = True, wide_s: float = 0.0
) -> CrankInterval:
    """A crank: surely live from `start_s` to `end_s`, perhaps by `wide_s` longer on both sides."""
    return CrankInterval(
        Border(start_s - wide_s, start_s, "coil live"), Border(end_s, end_s + wide_s, "coil dead"), sag_s, 2.0, by_lead
    )


def at(seconds: float, bin_s: float = BIN_S) -> int:
    """Index of the bin that begins there."""
    return round(seconds / bin_s)


def flat(volts: float, seconds: float = 8.0, bin_s: float = BIN_S) -> Volts:
    """One voltage all the time."""
    return np.full(round(seconds / bin_s), volts)


def put(values: Volts, volts: float, start_s: float, end_s: float, bin_s: float = BIN_S) -> Volts:
    """A copy with other volts from `start_s` to `end_s`."""
    changed = values.copy()
    changed[at(start_s, bin_s) : at(end_s, bin_s)] = volts
    return changed


def a_battery() -> Volts:
    """12.6 V, 10 V while cranking."""
    return put(flat(12.6), 10.0, *CRANK)


def a_feed() -> Volts:
    """0.1 V below the battery from ON on."""
    return put(a_battery() - 0.1, 0.0, 0.0, 1.0)


def limits_with(system_v: int = 12, **changed: float) -> Limits:
    """The shipped limits with some changed."""
    base = shipped(system_v)
    return replace(base, values={**base.values, **changed})


def plain_view(
    *,
    bin_s: float = BIN_S,
    lowest: Mapping[str, Volts] | None = None,
    highest: Mapping[str, Volts] | None = None,
    u: Uncertainty | None = None,
    full_scale_v: Mapping[str, float] | None = None,
    trace: Mapping[str, Any] | None = None,
    cranks: tuple[CrankInterval, ...] = (crank_of(*CRANK),),
    on: Border | None = ON,
    off: Border | None = None,
    between: tuple[OffTime, ...] = (),
    dead_from_s: float | None = None,
    fed_back_until_s: float | None = None,
    dropouts: tuple[Dropout, ...] = (),
    phases: tuple[tuple[Phase, float, float], ...] | None = None,
    found: Cranks | None = None,
    made: tuple[Crank, ...] | None = None,
    limits: Limits | None = None,
    context: Context | None = None,
    rest_v: float = 12.6,
    **means: Volts,
) -> View:
    """One view. `means`: role to the mean of each bin; `trace`: further fields of the trace; `made`: the cranks as judged."""
    values = {"battery": a_battery(), "key_switch": a_feed()} | means if bin_s == BIN_S else means
    count = len(next(iter(values.values())))
    values = {role: v for role, v in values.items() if len(v)}
    start_s = np.arange(count, dtype=np.float64) * bin_s
    exact = u or Uncertainty(0.0, 0.0)
    channels = {
        role: Channel(role, v, (lowest or {}).get(role, v), (highest or {}).get(role, v), exact, (full_scale_v or {}).get(role))
        for role, v in values.items()
    }
    seen = Trace(start_s, start_s + bin_s, np.full(count, 32, dtype=np.int64), np.full(count, bin_s / 32), channels)
    seen = replace(seen, **trace) if trace else seen
    limits = limits or shipped(12)
    th = thresholds_for(limits.system_v)
    feed = feed_of(seen)
    key = Key(on, off, between, dead_from_s, fed_back_until_s=fed_back_until_s)
    intervals = (
        intervals_of(seen, feed, limits, cranks, key, th.key)
        if phases is None
        else tuple(Interval(name, a, b, border(a), None) for name, a, b in phases)
    )
    return View(
        seen,
        limits,
        context or Context(),
        th,
        feed,
        found or Cranks(cranks),
        key,
        intervals,
        Losses(dropouts, (), {}, ()),
        (),
        tuple(Crank(c.start_s, c.end_s, by_lead=c.by_lead) for c in cranks) if made is None else made,
        rest_v,
    )


def loss(
    start_s: float,
    duration_s: float,
    lowest_v: float = 0.0,
    *,
    kind: DropoutKind = "counts",
    phase: Phase = Phase.CRANK,
    phases: tuple[Phase, ...] = (),
    low_s: float | None = None,
    high_s: float | None = None,
    counts: bool = True,
) -> Dropout:
    """One loss of the feed; its bounds are its duration unless given."""
    return Dropout(
        role="key_switch",
        phase=phase,
        start_s=start_s,
        duration_s=duration_s,
        duration_low_s=duration_s if low_s is None else low_s,
        duration_high_s=duration_s if high_s is None else high_s,
        lowest_v=lowest_v,
        counts=counts,
        kind=kind,
        phases=phases or (phase,),
    )


def a_finding(
    check: CheckId, result: Result, measured: float | None = None, *, phase: Phase | None = None, at_s: float | None = None
) -> Finding:
    """A finding as a rule on causes sees it."""
    return Finding(check, result, "", None if measured is None else Measured(measured, 0.0, "V"), None, at_s, phase)
