"""Obligations R, L, A, K, C: whether the evidence that a PASS asks for is in the recording."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tests.strangers.grader.feed import Feed
from tests.strangers.grader.levels import Labels
from tests.strangers.grader.measure import Stretch, below
from tests.strangers.logger import stated
from tests.strangers.plan import OFF

Floats = NDArray[np.float64]


def judge_evidence(f: Feed, labels: Labels) -> None:
    """Adds what is lacking and what is unsure."""
    _answers(f, labels)
    _recording(f, labels)
    _leads(f, labels)
    _key(f, labels)
    _cranks(f, labels)
    _logger(f, labels)


def _answers(f: Feed, labels: Labels) -> None:
    user_answers = f.s.plan.record.answers
    if user_answers.get("cranked_with_key") is False:
        labels.lacking.append("A1: remote switch")
    if user_answers.get("module_plugged_in") is False:
        labels.lacking.append("A1: module unplugged")
    tricks = f.s.plan.record.tricks
    if "notes lost" in tricks or "notes of another" in tricks:
        labels.lacking.append("R1: notes lost or another recording's")
    if f.s.plan.labels.get("declared"):
        labels.lacking.append("R1: a switch test")


def _end(f: Feed) -> float:
    """To when a recording matters: OFF at its end, or its end."""
    p = f.s.plan
    return f.times.offs[-1] if f.times.offs and p.key and p.key[-1][1] == OFF else p.record.end_s


def _recording(f: Feed, labels: Labels) -> None:
    p, tricks = f.s.plan, f.s.plan.record.tricks
    on = f.times.on_s or p.record.begin_s
    if "torn" in tricks:
        labels.lacking.append("R2: torn")
    if "hole" in tricks and f.s.codes is not None:
        a, b = tricks["hole"]
        bin_s = f.s.codes.bin_s
        first = max(np.ceil((a - p.record.begin_s) / bin_s - 1), 0)
        # bins touching the hole are gone
        n = f.s.codes.number
        at = p.record.begin_s + n * bin_s
        gone = at[(at + bin_s > a) & (at < b)]
        del first
        if len(gone):
            begin, end = float(gone[0]), float(gone[-1] + bin_s)
            if end - begin >= 1.0e-3 and end > on - 0.001 and begin < _end(f) - 0.001:
                labels.lacking.append(f"R3: {end - begin:.4f} s missing at {begin:.3f} s")
            elif end > on - 0.1:
                labels.unsure.append("R3: a hole that may not matter")
    if f.s.codes is not None:
        full = tricks.get("full_scale_v")
        if full:
            worst = min((_headroom(f, role) for role in ("battery", "key_switch")), default=1.0)
            if worst < -0.02 * full:
                labels.lacking.append("R5: clipped")
            elif worst < 0.02 * full:
                labels.unsure.append("R5: near full scale")


def _headroom(f: Feed, role: str) -> float:
    """Volts between full scale and the highest true reading between ON and the end."""
    t = f.s.world.t_s
    on = f.times.on_s or 0.0
    inside = (t > on - 0.05) & (t < _end(f))
    assert f.s.codes is not None
    line = f.s.codes.lines[role]
    return float(4095 * line.true_gain_v + line.true_offset_v - f.s.world.volts[role][inside].max())


def _leads(f: Feed, labels: Labels) -> None:
    p, tricks = f.s.plan, f.s.plan.record.tricks
    t = f.s.world.t_s
    if "swapped" in tricks:
        labels.lacking.append(f"L1: {tricks['swapped'][0]} and {tricks['swapped'][1]} exchanged")
    if "copy" in tricks:
        _, of, at = tricks["copy"]
        if at <= p.record.begin_s:
            labels.lacking.append(f"L2: key lead on {of}")
        elif _reads_like_a_key(f, at):
            labels.unsure.append("L1: key lead moved, and reads as a key that is off or comes on")
        elif at < _end(f) - 0.3:
            labels.lacking.append("L1: key lead moved")
        else:
            labels.unsure.append("L1: key lead moved at the end")
    if "off" in tricks:
        _off(f, labels, *tricks["off"])
    if "ground" in tricks:
        kind, at, volts = tricks["ground"]
        # Battery and feed step together under any load as well: only a dead lead that reads below nothing tells, and a board
        # can't read below nothing.
        live = f.s.csv is not None and not f.no_lead and any(a + 0.02 < at < b - 0.02 for a, b in f.times.spans)
        live &= not any(c.start_s - 0.02 < at < c.let_go_s + 0.02 for c in f.times.cranks)  # the starter lead is live there
        if kind == "step" and live and p.record.begin_s + 0.1 < at < p.record.end_s - 0.1 and abs(volts) > 0.4 * p.scale:
            labels.lacking.append(f"L1: ground clip moved by {volts:.2f} V")
        else:
            labels.unsure.append("L1: ground clip astray")
    rest = t < min(p.record.begin_s + 0.3, f.times.on_s or 1e9)
    if rest.any():
        volts = float(np.median(f.s.world.volts["battery"][rest & (t >= p.record.begin_s)]))
        low, high = (8.0, 16.5) if p.system_v == 12 else (18.0, 32.0)
        u = f.known.volts("battery", volts)
        if volts < low - 4 * u or volts > high + 4 * u:
            labels.lacking.append(f"L1: battery at rest {volts:.2f} V")
        elif volts < low + 4 * u or volts > high - 4 * u:
            labels.unsure.append("L1: battery at rest near its bounds")


def _reads_like_a_key(f: Feed, at: float) -> bool:
    """Whether no reading differs from that of a lead in its place: moved while the feed was dead, or to where all is dead to the end."""
    t, off_v = f.s.world.t_s, f.limits["feed_off_v"]
    after = f.feed[(t > at + 0.01) & (t <= f.s.plan.record.end_s)]
    before = f.feed[(t > at - 0.05) & (t < at)]
    return at < (f.times.on_s or math.inf) or any(len(part) and part.max() < off_v for part in (before, after))


def _off(f: Feed, labels: Labels, role: str, at: float, until: float) -> None:
    p = f.s.plan
    until = min(until, p.record.end_s)
    if at >= _end(f) or until <= p.record.begin_s:
        return
    if role == "key_switch":  # the feed is graded as it reads, so what matters of it is missed there
        labels.unsure.append("L1: key lead off for a part")
        return
    if role == "battery":
        if until - at > 0.02:
            labels.lacking.append("L1: battery lead off")
        else:
            labels.unsure.append("L1: battery lead off for a moment")
        return
    for c in f.times.cranks:
        if at < c.start_s + 0.02 and until > c.let_go_s - 0.3:
            labels.lacking.append("C2: starter lead off")
        elif at < c.let_go_s + 0.05 and until > c.start_s - 0.05:
            labels.unsure.append("C2: starter lead off for a part")


def _key(f: Feed, labels: Labels) -> None:
    times = f.times
    if times.on_s is None:
        labels.lacking.append("K1: never live")
        return
    if times.dead_before_s < 0.045:
        labels.lacking.append(f"K1: seen dead for {times.dead_before_s:.3f} s")
    elif times.dead_before_s < 0.055:
        labels.unsure.append("K1: hardly seen dead")
    if times.cranks:
        before = times.cranks[0].start_s - times.on_s
        if before < 0.19:
            labels.lacking.append(f"K2: live {before:.2f} s before START")
        elif before < 0.27:
            labels.unsure.append("K2: live hardly long enough before START")
    if times.never_back:
        labels.lacking.append("K4: gone and never back")
    labels.lacking += times.odd
    labels.unsure += times.vague
    end = f.s.plan.record.tricks.get("torn", f.s.plan.record.end_s)
    for n, c in enumerate(times.cranks):
        nxt = times.cranks[n + 1].start_s if n + 1 < len(times.cranks) else None
        off = next((o for o in times.offs if o > c.start_s and (nxt is None or o < nxt)), None)
        stops = [x for x in (off, end if nxt is None else None) if x is not None]
        if not stops:
            continue
        watched = min(stops) - c.let_go_s
        slack = 0.45 if f.no_lead else 0.03
        if watched < 2.0 - 0.03:
            labels.lacking.append(f"K3: watched {watched:.2f} s after crank {n + 1}")
        elif watched < 2.0 + slack:
            labels.unsure.append("K3: hardly watched long enough")


def _cranks(f: Feed, labels: Labels) -> None:
    p, times = f.s.plan, f.times
    if not times.cranks:
        labels.lacking.append("C2: nothing turned")
        return
    if any(c.bridged for c in p.cranks) and not f.no_lead:
        labels.lacking.append("C2: cranked with the S terminal dead")
    elif any(c.bridged for c in p.cranks) and "A1: remote switch" not in labels.lacking:
        labels.unsure.append("C2: bridged, and no lead to see it by")
    longest = max(c.let_go_s - max(c.start_s, p.record.begin_s) for c in times.cranks)
    if longest >= 2.0 + (0.15 if f.no_lead else 0.06):
        return
    user_answers = p.record.answers
    states = f.s.world.plant
    last = times.cranks[-1]
    ran = states.runs_from_s is not None and states.runs_until_s is None
    if longest >= 1.95:
        labels.unsure.append("C1: crank of about 2 s")
        return
    if not ran or user_answers.get("charger_connected") or user_answers.get("engine_running") is False:
        labels.lacking.append(f"C1: crank of {longest:.2f} s, engine does not run" + (" (charger told)" if ran else ""))
    elif user_answers.get("engine_running") is not True:
        labels.unsure.append("C1: nobody said that it runs")
    elif last.let_go_s - last.start_s < 0.35:
        labels.unsure.append("C1: hardly a crank")
    elif p.helpers:
        labels.unsure.append("C1: a helper is on")


def _logger(f: Feed, labels: Labels) -> None:
    """R4 and R6 of CSV."""
    p, tricks = f.s.plan, f.s.plan.record.tricks
    if "tone" in tricks:
        labels.unsure.append("a tone on all leads")
    if f.s.csv is None:
        return
    h = 1.0 / p.record.rate_hz
    if h > 1.005e-3:
        labels.lacking.append(f"R4: rows {h * 1e3:.2f} ms apart")
    elif h > 0.9e-3:
        labels.unsure.append("R4: rows hardly close enough")
    if "held_hz" in tricks:
        labels.lacking.append("R6: values held")
    if "stamps" in tricks:
        labels.lacking.append("R6: time stamps repeat")
    if "frozen" in tricks:
        role, a, b = tricks["frozen"]
        b = min(b, p.record.end_s)
        t = f.s.world.t_s
        volts = np.abs(f.s.world.volts[role][(t >= a) & (t <= b)])
        dead = float(volts.max(initial=0.0)) < 0.1  # it would read nothing all the same
        before_start = not f.times.cranks or b < f.times.cranks[0].start_s
        dead |= (
            len(volts) > 0 and bool(volts[0] < 0.1) and before_start
        )  # frozen at nothing, it reads as a key that comes on later
        if not dead and b - a > 0.3 and a < _end(f) - 0.3 and b > (f.times.on_s or 0.0) + 0.3:
            labels.lacking.append(f"R6: {role} frozen")
        else:
            labels.unsure.append("R6: frozen for a moment")
    if tricks.get("bits") == 8:
        labels.unsure.append("R6: eight bits")
    if "flat_v" in tricks:
        t = f.s.world.t_s
        gain, offset_v = stated(f.s.plan)  # cut for certain: the logger may read as much less as it states
        cut_v = (tricks["flat_v"] + offset_v) / (1.0 - gain)
        over = max(sum(x.length_s for x in _above(t, f.s.world.volts[role], cut_v, f)) for role in ("battery", "key_switch"))
        if over > 0.05:
            labels.lacking.append(f"R6: flat top at {tricks['flat_v']:.2f} V")
        else:
            labels.unsure.append("R6: near the top")
    if "spikes" in tricks:
        labels.unsure.append("a row that is off on all leads")


def _above(t: Floats, v: Floats, level: float, f: Feed) -> list[Stretch]:
    return below(t, -v, -level, (f.times.on_s or 0.0) - 0.01, _end(f))
