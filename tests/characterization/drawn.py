"""Starts whose numbers are drawn wide, so that some lie on either side of every threshold of the judge. All synthetic.

Every size is spread by a factor about what is usual, without a look at where the judge draws its lines. What a start means is not
asked here: only whether the judge still finds in it what it found.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from firstcrank.model.context import Context
from firstcrank.trace import Hole, Trace, Uncertainty
from tests.aim.maker import BIN_S, FINE, Crank, Made, Setup, hole
from tests.host.logger_starts import Start, changed, honest, trace_of

Floats = NDArray[np.float64]
BOARD = Uncertainty(gain_rel=1.2e-3, offset_v=0.006, shared_gain_rel=1.5e-3, noise_v=0.012, settling_v=0.003)


def spread(rng: Generator, middle: float, factor: float = 3.0) -> float:
    """Log-uniform about a middle."""
    return float(middle * np.exp(rng.uniform(-1.0, 1.0) * np.log(factor)))


def sometimes(rng: Generator, share: float) -> bool:
    """True in a share of the draws."""
    return bool(rng.random() < share)


# --- as a board records -----------------------------------------------------------------------------------------------------


def board(seed: int) -> tuple[Trace, Context, int]:
    """(trace, answers, system voltage) of one drawn start."""
    rng = np.random.default_rng([seed, 20811])
    setup = _setup(rng)
    made = Made(setup, noise_v=spread(rng, 0.006, 4.0), uncertainty=BOARD if sometimes(rng, 0.4) else FINE, seed=seed % 97)
    for _ in range(int(rng.choice([0, 1, 1, 2]))):
        _event(rng, made)
    _more_leads(rng, made)
    _lead_trouble(rng, made)
    if sometimes(rng, 0.25):
        trace = made.rows(int(rng.integers(1, 40)))
    else:
        trace = made.bins(
            holes=_holes(rng, setup),
            runs=sometimes(rng, 0.85),
            bin_s=BIN_S if sometimes(rng, 0.8) else BIN_S * int(rng.choice([2, 4, 8, 16])),
            full_scale_v=None if sometimes(rng, 0.1) else spread(rng, 18.0, 1.4),
            complete=sometimes(rng, 0.95),
        )
    return trace, _answers(rng, setup), 24 if setup.scale == 2.0 else 12


def _setup(rng: Generator) -> Setup:
    on_s = spread(rng, 0.6, 3.0) if sometimes(rng, 0.9) else 0.0
    at = on_s + spread(rng, 1.0, 6.0)
    cranks, offs = [], []
    for _ in range(int(rng.choice([1, 1, 1, 2, 3]))):
        crank = Crank(
            at,
            spread(rng, 2.4, 2.0) if sometimes(rng, 0.8) else spread(rng, 0.5, 5.0),
            catch_s=spread(rng, 0.2, 3.0) if sometimes(rng, 0.4) else 0.0,
            sag_v=spread(rng, 1.9, 2.2) if sometimes(rng, 0.8) else spread(rng, 0.5, 4.0),
            inrush_v=spread(rng, 1.8, 2.5),
            swing_v=spread(rng, 0.3, 3.0) if sometimes(rng, 0.85) else spread(rng, 0.03, 4.0),
            hz=spread(rng, 8.0, 3.0) if sometimes(rng, 0.85) else spread(rng, 8.0, 8.0),
        )
        cranks.append(crank)
        at = crank.end_s + spread(rng, 1.5, 4.0)
        if sometimes(rng, 0.3):
            off_s = crank.end_s + spread(rng, 0.4, 3.0)
            again_s = off_s + spread(rng, 0.6, 4.0)
            offs.append((off_s, again_s))
            at = again_s + spread(rng, 0.6, 4.0)
    end_s = cranks[-1].end_s + spread(rng, 3.0, 3.0)
    runs = sometimes(rng, 0.5)
    return Setup(
        on_s=on_s,
        cranks=tuple(cranks),
        off_s=end_s - spread(rng, 1.0, 4.0) if sometimes(rng, 0.3) else None,
        offs=tuple(pair for pair in offs if pair[1] < cranks[-1].start_s),
        end_s=min(end_s, 30.0),
        charges_s=spread(rng, 0.6, 4.0) if runs else None,
        rest_v=12.5 + rng.normal(0.0, 0.4) if sometimes(rng, 0.85) else spread(rng, 12.5, 2.2),
        lead=sometimes(rng, 0.65),
        scale=2.0 if sometimes(rng, 0.15) else 1.0,
    )


def _moment(rng: Generator, setup: Setup) -> float:
    """A time near one of the start's borders, or anywhere."""
    borders = [setup.on_s, *(e for c in setup.cranks for e in (c.start_s, c.end_s, (c.start_s + c.end_s) / 2.0))]
    if sometimes(rng, 0.2):
        return float(rng.uniform(0.0, setup.end_s))
    return max(float(rng.choice(borders)) + float(rng.choice([-1.0, 1.0])) * spread(rng, 0.08, 20.0), 0.0)


def _event(rng: Generator, made: Made) -> None:
    """Something happens to feed or battery."""
    setup = made.setup
    at, length = _moment(rng, setup), spread(rng, 0.02, 100.0)
    what = rng.choice(
        ["loss", "loss", "level", "drop", "drop", "steady", "chatter", "sink", "heater", "bounce", "backfeed", "ramp"]
    )
    if what == "loss":
        made.feed(0.0 if sometimes(rng, 0.6) else float(rng.uniform(0.0, 7.5)), at, length)
    elif what == "level":
        made.feed(spread(rng, 7.0, 1.25), at, spread(rng, 0.3, 10.0))
    elif what == "drop":
        made.drop(spread(rng, 1.0, 8.0), at, length)
    elif what == "steady":
        made.drop(spread(rng, 0.5, 4.0), 0.0 if sometimes(rng, 0.5) else at, 60.0)
    elif what in ("chatter", "bounce"):
        each, count = spread(rng, 0.0012, 12.0), int(rng.integers(2, 40 if what == "chatter" else 6))
        for i in range(count):
            made.feed(float(rng.uniform(0.0, 6.0)), at + i * each, each * float(rng.uniform(0.05, 0.95)))
    elif what == "sink":
        made.sink(spread(rng, 1.5, 5.0), at, spread(rng, 0.05, 30.0))
    elif what == "heater":
        period, depth = spread(rng, 1.5, 3.0), spread(rng, 0.5, 3.0)
        for i in range(int(rng.integers(1, 8))):
            made.sink(depth, at + i * period, period * float(rng.uniform(0.2, 0.8)))
    elif what == "backfeed":
        made.change("key_switch", at, spread(rng, 0.5, 6.0), lambda t, v: np.maximum(v, spread(rng, 5.0, 2.5) * setup.scale))
    else:
        depth, tau = spread(rng, 1.0, 4.0), spread(rng, 0.1, 8.0)
        made.change("battery", at, 60.0, lambda t, v: v - depth * setup.scale * np.exp(-(t - t[0]) / tau) if len(t) else v)


def _more_leads(rng: Generator, made: Made) -> None:
    """Heater, grounds, module supply and a second source, in some of the starts."""
    setup, scale = made.setup, made.setup.scale
    cranking = np.zeros(len(made.t), dtype=bool)
    for crank in setup.cranks:
        cranking |= (made.t > crank.start_s) & (made.t < crank.end_s)
    battery = made.volts["battery"]
    if sometimes(rng, 0.35):
        live = np.zeros(len(made.t), dtype=bool)
        at = _moment(rng, setup)
        for _ in range(int(rng.integers(1, 6))):
            long_s = spread(rng, 0.3, 8.0)
            live[made.between(at, at + long_s)] = True
            at += long_s + spread(rng, 0.2, 5.0)
        level = spread(rng, 9.0, 2.5) * scale
        made.volts["heater_coil"] = np.where(live, np.minimum(battery, level), 0.0)
        if sometimes(rng, 0.5):
            made.volts["heater_return"] = np.where(live, spread(rng, 0.3, 20.0) * scale, 0.0)
    for role in ("module_ground", "engine_ground"):
        if sometimes(rng, 0.3):
            made.volts[role] = np.where(cranking, spread(rng, 0.2, 6.0) * scale, spread(rng, 0.01, 6.0) * scale)
    if sometimes(rng, 0.3):
        drop_v = np.where(cranking, spread(rng, 0.6, 6.0), spread(rng, 0.1, 6.0)) * scale
        made.volts["module_supply"] = battery - drop_v
        if sometimes(rng, 0.5):
            made.put("module_supply", float(rng.uniform(0.0, 9.0)), _moment(rng, setup), spread(rng, 0.01, 40.0))
    if sometimes(rng, 0.12):
        made.volts["feed_source"] = np.full(len(made.t), spread(rng, 12.5, 1.3) * scale)


def _lead_trouble(rng: Generator, made: Made) -> None:
    """In a few starts a clip moves, a lead comes off or two hang on one point."""
    setup = made.setup
    if sometimes(rng, 0.06):
        made.common(float(rng.choice([-1.0, 1.0])) * spread(rng, 0.4, 4.0), _moment(rng, setup), spread(rng, 0.1, 30.0))
    if sometimes(rng, 0.05):
        role = str(rng.choice(list(made.volts)))
        made.put(role, float(rng.uniform(0.0, 3.5)), _moment(rng, setup), spread(rng, 0.5, 10.0))
    if sometimes(rng, 0.05):
        away = spread(rng, 0.03, 5.0)
        made.volts["key_switch"] = made.volts["battery"] - np.where(made.t > setup.on_s, away, away)
    if sometimes(rng, 0.03):
        made.volts["battery"], made.volts["key_switch"] = made.volts["key_switch"], made.volts["battery"]


def _holes(rng: Generator, setup: Setup) -> tuple[Hole, ...]:
    if not sometimes(rng, 0.15):
        return ()
    at = min(_moment(rng, setup), setup.end_s - 0.2)
    return (hole(at, min(at + spread(rng, 0.02, 20.0) + 2 * BIN_S, setup.end_s - 0.05)),)


def _answers(rng: Generator, setup: Setup) -> Context:
    def asked(yes: float) -> bool | None:
        return None if sometimes(rng, 0.4) else sometimes(rng, yes)

    return Context(
        cranked_with_key=asked(0.9),
        module_plugged_in=asked(0.9),
        feed_kind="loaded" if sometimes(rng, 0.3) else "signal",
        cylinders=int(rng.choice([3, 4, 6, 8])) if sometimes(rng, 0.5) else None,
        temperature_c=float(rng.uniform(-25.0, 35.0)) if sometimes(rng, 0.3) else None,
        charger_connected=asked(0.2),
        engine_running=None if sometimes(rng, 0.4) else setup.charges_s is not None,
        known_load_ohm=spread(rng, 10.0, 4.0) if sometimes(rng, 0.1) else None,
        hold_on_s=spread(rng, 1.0, 4.0) if sometimes(rng, 0.2) else None,
    )


# --- as another logger's file -------------------------------------------------------------------------------------------------


def file(seed: int) -> tuple[Trace, Context, int]:
    """(trace, answers, system voltage) of one file of single readings, bent in one way by a drawn amount."""
    rng = np.random.default_rng([seed, 20812])
    start = honest(seed, rate_hz=spread(rng, 1500.0, 5.0), fault="none" if sometimes(rng, 0.7) else None)
    start = BENDS[int(rng.integers(len(BENDS)))](start, rng)
    system_v = 24 if float(np.median(start.volts["battery"])) > 17.0 else 12
    running = None if sometimes(rng, 0.5) else sometimes(rng, 0.6)
    return trace_of(start), Context(cranked_with_key=True, module_plugged_in=True, engine_running=running), system_v


def _inside(start: Start, rng: Generator) -> slice:
    """A stretch near the crank."""
    at = float(rng.choice([0.0, *start.crank])) + float(rng.normal(0.0, 0.4))
    first = int(np.searchsorted(start.t_s, at))
    return slice(first, int(np.searchsorted(start.t_s, at + spread(rng, 0.25, 12.0))))


def _frozen(start: Start, rng: Generator) -> Start:
    role = str(rng.choice(["key_switch", "battery", *start.volts]))
    values = start.volts[role].copy()
    where = _inside(start, rng)
    values[where] = values[max(where.start - 1, 0)]
    return changed(start, **{role: values})


def _held(start: Start, rng: Generator) -> Start:
    each = spread(rng, 3.0, 3.0) if sometimes(rng, 0.5) else float(rng.integers(2, 14))
    at = (np.floor(np.arange(len(start.t_s)) / each) * each).astype(int)
    if sometimes(rng, 0.2):  # not quite evenly
        at = np.maximum.accumulate(np.clip(at + rng.integers(-1, 2, len(at)) * (rng.random(len(at)) < 0.02), 0, len(at) - 1))
    roles = list(start.volts) if sometimes(rng, 0.5) else [str(rng.choice(["battery", "key_switch"]))]
    return changed(start, **{role: start.volts[role][at] for role in roles})


def _top(start: Start, rng: Generator) -> Start:
    battery = start.volts["battery"]
    top = (
        float(np.quantile(battery, rng.uniform(0.3, 1.0)))
        if sometimes(rng, 0.5)
        else float(battery.max()) - spread(rng, 0.05, 8.0)
    )
    roles = list(start.volts) if sometimes(rng, 0.6) else ["battery"]
    return changed(start, **{role: np.minimum(start.volts[role], top) for role in roles})


def _coarse(start: Start, rng: Generator) -> Start:
    step = spread(rng, 0.05, 4.0)
    return changed(start, **{role: np.round(v / step) * step for role, v in start.volts.items()})


def _quiet(start: Start, rng: Generator) -> Start:
    """A computed curve with a little noise, or none."""
    t, sigma = start.t_s, spread(rng, 1e-5, 30.0)
    cranking = (t >= start.crank[0]) & (t < start.crank[1])
    sag = np.where(cranking, 2.0 + 0.3 * np.sin(2 * np.pi * 8 * (t - start.crank[0])), 0.0)
    smooth = 12.6 - 0.05 * np.exp(-t / spread(rng, 1.0, 4.0)) - sag
    key = np.where(t > start.crank[0] - 0.8, smooth - 0.1, 0.0)
    noise = rng.normal(0.0, sigma, (2, len(t)))
    both = sometimes(rng, 0.6)
    return changed(start, battery=smooth + noise[0], **({"key_switch": key + noise[1] * (key > 1.0)} if both else {}))


def _copied(start: Start, rng: Generator) -> Start:
    where = _inside(start, rng) if sometimes(rng, 0.6) else slice(int(np.searchsorted(start.t_s, start.crank[0] - 0.1)), None)
    role = str(rng.choice(["key_switch", *(r for r in start.volts if r != "battery")]))
    values = start.volts[role].copy()
    values[where] = start.volts["battery"][where]
    if sometimes(rng, 0.3):  # but for some of them
        missed = rng.random(len(values)) < spread(rng, 0.01, 10.0)
        values = np.where(missed, start.volts[role], values)
    return changed(start, **{role: values})


def _post(start: Start, rng: Generator) -> Start:
    battery, t = start.volts["battery"], start.t_s
    at = float(rng.choice(start.crank)) + float(rng.normal(0.0, 0.3))
    sigma = max(float(np.std(np.diff(battery[:200]))), start.step_v) * spread(rng, 0.7, 3.0)
    drop = np.where(t < at, spread(rng, 0.2, 3.0), spread(rng, 0.01, 5.0))
    moved = np.where(t >= at, spread(rng, 0.01, 10.0), 0.0)
    live = start.volts["key_switch"] > 5.0
    key = battery + moved - drop + rng.normal(0.0, sigma, len(t))
    return changed(start, battery=battery + moved, key_switch=np.where(live | (t >= at), key, start.volts["key_switch"]))


def _stamps(start: Start, rng: Generator) -> Start:
    at, each = np.arange(len(start.t_s)), int(rng.integers(2, 30))
    within = spread(rng, 0.15, 6.0)
    t = start.t_s[at // each * each] + (at % each) * min(within, 1.0) / start.rate_hz
    if sometimes(rng, 0.3):
        some = int(rng.integers(1, len(t) - 1))
        t = t.copy()
        t[some] = t[some - 1] - (1e-4 if sometimes(rng, 0.5) else 0.0)
    t = t if sometimes(rng, 0.1) else np.maximum.accumulate(t + at * 1e-9)
    return Start(t, start.volts, start.rate_hz, start.fault, start.step_v, start.crank)


def _as_it_is(start: Start, rng: Generator) -> Start:
    return start


def _twice_as_high(start: Start, rng: Generator) -> Start:
    """As a 24 V vehicle's."""
    bent = BENDS[int(rng.integers(len(BENDS) - 1))](start, rng)
    return replace(bent, volts={role: v * 2.0 for role, v in bent.volts.items()}, step_v=bent.step_v * 2.0)


BENDS: tuple[Callable[[Start, Generator], Start], ...] = (
    _frozen, _frozen, _held, _held, _top, _top, _coarse, _quiet, _copied, _post, _stamps, _as_it_is, _twice_as_high,
)  # fmt: skip
