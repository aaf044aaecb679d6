"""Obligations F1 to F5 and P1: the feed against its limits, on the full-rate truth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.strangers.grader.levels import Labels, Margin
from tests.strangers.grader.measure import Known, Stretch, below, time_above, worst_mean
from tests.strangers.grader.times import Times
from tests.strangers.start import StrangeStart
from tests.strangers.world import FILTER_S

Floats = NDArray[np.float64]
TRAVEL_S, VAGUE_S = 0.15, 0.30
BEFORE_LET_GO_S, AFTER_START_S, AFTER_ON_S = 0.02, 0.005, 0.1
MOST_SHORT = 20
NOT_YET_S = 2e-5  # the feed that has not yet risen as the key comes on is no opening


@dataclass(slots=True)
class Bounce:
    """Openings that belong together; `place` is "travel", "vague" or "elsewhere"."""

    begin_s: float
    end_s: float
    longest_s: float
    place: str


def place_of(times: Times, begin_s: float, end_s: float) -> str:
    """Where a bounce lies by F1's exception."""
    vague = False
    for on, _ in times.spans:
        if on <= end_s <= on + AFTER_ON_S:
            return "travel"
    for c in times.cranks:
        if c.start_s - TRAVEL_S <= begin_s and end_s <= c.start_s:
            return "travel"
        if c.let_go_s <= begin_s and end_s <= c.let_go_s + TRAVEL_S:
            return "travel"
        if c.start_s - VAGUE_S <= begin_s and end_s <= c.start_s + AFTER_START_S:
            vague = True
        if c.let_go_s - BEFORE_LET_GO_S <= begin_s and end_s <= c.let_go_s + VAGUE_S:
            vague = True
    return "vague" if vague else "elsewhere"


def bounces(times: Times, low: list[Stretch], join_s: float) -> list[Bounce]:
    """Openings less than `join_s` apart taken together."""
    out: list[Bounce] = []
    for s in low:
        if out and s.begin_s - out[-1].end_s < join_s:
            out[-1].end_s = s.end_s
            out[-1].longest_s = max(out[-1].longest_s, s.length_s)
        else:
            out.append(Bounce(s.begin_s, s.end_s, s.length_s, ""))
    for b in out:
        b.place = place_of(times, b.begin_s, b.end_s)
    return out


@dataclass(frozen=True, slots=True)
class Feed:
    """Everything the obligations of the feed look at. `lost_v` is source less feed, shape (m,)."""

    s: StrangeStart
    known: Known
    times: Times
    limits: dict[str, float]
    feed: Floats
    source: Floats
    lost_v: Floats
    no_lead: bool

    @property
    def steady_v(self) -> float:
        """The steady limit of this kind of feed."""
        return self.limits["feed_drop_loaded_fail_v" if self.s.plan.feed.loaded else "feed_drop_fail_v"]


def judge_feed(f: Feed, labels: Labels) -> None:
    """Adds the margins of F1 to F5 and P1."""
    minimum = f.limits["module_minimum_v"]
    u_v = f.known.volts("key_switch", minimum)
    for spread in (4.0, 0.0, -4.0):
        _low_times(f, labels, minimum - spread * u_v, spread)
    _drops(f, labels)


def _low_times(f: Feed, labels: Labels, level: float, spread: float) -> None:
    """F1, F2, P1 at one level: below the minimum by 4 u (missed beyond doubt), at it, and 4 u above it (not clear of it)."""
    low = [x for a, b in f.times.spans for x in below(f.s.world.t_s, f.feed, level, a, b) if x.begin_s > a + NOT_YET_S]
    u_t = f.known.time_s
    reach = spread * u_t
    longest = f.limits["dropout_min_s"]
    bounce_max = f.limits["turn_bounce_max_s"]
    own: list[Stretch] = []
    if (
        spread > 0
    ):  # missed beyond doubt is what somebody could have seen: no opening that the input hides makes a bounce longer
        low = [x for x in low if x.length_s >= _seen_s(f)]
    dips: dict[int, list[Stretch]] = {}
    for x in low:
        if _follows(f, x):
            dips.setdefault(_crank_of(f, x), []).append(x)
        else:
            own.append(x)
    shorts: list[Stretch] = []
    tolerated: list[Bounce] = []
    for b in bounces(f.times, own, bounce_max):
        if spread < 0:  # openings closer than a bin (or a row) may read as one
            b.longest_s = _joined(own, b, f.known.join_s)
        parts = [x for x in own if b.begin_s <= x.begin_s <= b.end_s]
        extent = b.end_s - b.begin_s
        if b.place == "travel" and extent <= bounce_max + reach:
            if f.no_lead and b.longest_s > longest - 4 * u_t:
                labels.unsure.append("F1: a bounce in travel, no starter lead")
            if b.longest_s > longest - 4 * u_t:
                tolerated.append(b)
            if b.longest_s <= longest - 4 * u_t and spread < 0:
                shorts += parts  # short openings alone may be counted as losses too
            continue
        if b.longest_s > longest + reach:
            if b.place == "vague" and extent <= bounce_max:
                if spread >= 0:
                    labels.lacking.append("F1: a bounce where it is undecided")
                if spread <= 0:
                    _over(labels, "F1", spread, f"{b.longest_s * 1e3:.3f} ms at {b.begin_s:.4f} s, undecided place")
                continue
            if f.no_lead and extent <= bounce_max + 4 * u_t and _near_travel(f.times, b):
                labels.unsure.append("F1: a bounce near travel, no starter lead")
                if spread > 0:
                    continue
            _over(labels, "F1", spread, f"{b.longest_s * 1e3:.3f} ms at {b.begin_s:.4f} s")
        shorts += [x for x in parts if x.length_s <= longest + reach]
    if any(0 < later.begin_s - b.end_s < TRAVEL_S for b in tolerated for later in tolerated):
        labels.unsure.append("F1: two bounces in one travel")
    _short_losses(f, labels, shorts, spread)
    for crank, parts in dips.items():
        _dip(f, labels, crank, parts, spread)


def _joined(own: list[Stretch], b: Bounce, join_s: float) -> float:
    """The longest of a bounce's openings with those less than `join_s` apart taken together."""
    longest, begin, end = 0.0, -math.inf, -math.inf
    for x in own:
        if not b.begin_s <= x.begin_s <= b.end_s:
            continue
        begin = begin if x.begin_s - end < join_s else x.begin_s
        end = x.end_s
        longest = max(longest, end - begin)
    return longest


def _over(labels: Labels, obligation: str, spread: float, what: str) -> None:
    """Missed at this level: beyond by 4 u and more, by 0 to 4 u, or nearer than 4 u on the right side."""
    labels.margins.append(Margin(obligation, {4.0: 4.5, 0.0: 0.5, -4.0: -3.5}[spread], what))


def _near_travel(times: Times, b: Bounce) -> bool:
    """Within what is unsure without a starter lead: 60 ms before START, and around LET GO."""
    return any(
        c.start_s - 0.4 <= b.begin_s <= c.start_s + 0.1 or c.let_go_s - 0.7 <= b.begin_s <= c.let_go_s + 0.7
        for c in times.cranks
    )


def _follows(f: Feed, x: Stretch) -> bool:
    """True where the feed is low because its source is."""
    t = f.s.world.t_s
    away = time_above(t, f.lost_v, f.steady_v, x.begin_s - 1e-6, x.end_s + 1e-6)
    if x.length_s < 2e-4:  # too short to go by shares
        i, j = np.searchsorted(t, [x.begin_s, x.end_s])
        return bool(len(f.lost_v[i:j]) and f.lost_v[i:j].max() < f.steady_v)
    return away <= max(1e-3, 0.05 * x.length_s) and away < 0.5 * x.length_s


def _crank_of(f: Feed, x: Stretch) -> int:
    """Number of the crank, -1 outside. The starter's current outlasts LET GO by some milliseconds."""
    for n, c in enumerate(f.times.cranks):
        if c.start_s - 0.01 <= x.begin_s <= c.let_go_s + 0.05:
            return n
    return -1


def _dip(f: Feed, labels: Labels, crank: int, parts: list[Stretch], spread: float) -> None:
    reach = spread * f.known.time_s
    total = sum(x.length_s for x in parts)
    lowest = min(x.lowest for x in parts)
    if crank < 0:
        if max(x.length_s for x in parts) > f.limits["dropout_min_s"] + reach:
            _over(labels, "P1", spread, f"supply low outside cranks at {parts[0].begin_s:.3f} s")
        return
    if total > f.limits["supply_dip_max_s"] + reach * math.sqrt(len(parts)):
        _over(labels, "P1", spread, f"supply dips {total * 1e3:.2f} ms in crank {crank + 1}, lowest {lowest:.2f} V")
    floor = f.limits["supply_dip_lowest_v"]
    if lowest < floor - spread * f.known.volts("key_switch", floor):
        _over(labels, "P1", spread, f"supply dips to {lowest:.2f} V in crank {crank + 1}")


def _seen_s(f: Feed) -> float:
    """The shortest opening that a recorder can see for certain: a board's input hides what is shorter than its time constant."""
    h = max(f.known.spacing_s, f.known.blur_s)
    return max(1.2 * FILTER_S, f.known.blur_s) if f.s.codes is not None else h


def _short_losses(f: Feed, labels: Labels, shorts: list[Stretch], spread: float) -> None:
    """F2: what a recorder can see of them. A board's input hides what is shorter than its time constant."""
    h = max(f.known.spacing_s, f.known.blur_s)
    board = f.s.codes is not None
    least = _seen_s(f)
    total_max = f.limits["dropout_total_max_s"]
    seen = [x for x in shorts if x.length_s >= least]
    total = sum(x.length_s for x in seen)
    if spread > 0:
        if total > total_max + max(4 * f.known.time_s * math.sqrt(max(len(seen), 1)), 0.1 * total_max):
            _over(labels, "F2", 4.0, f"{len(seen)} short losses, {total * 1e3:.2f} ms")
        if len(seen) > MOST_SHORT + 4:
            labels.lacking.append(f"F2: {len(seen)} short losses")
    elif spread == 0.0:
        if total > total_max:
            _over(labels, "F2", 0.0, "short losses together over the limit")
        elif sum(x.length_s for x in shorts) > total_max:
            labels.unsure.append("F2: losses together over the limit, each shorter than the recorder can see for certain")
    else:
        upper = sum(x.length_s + 2 * h + (FILTER_S if board else 0.0) for x in shorts)
        one = max((x.length_s for x in shorts), default=0.0)
        if upper > 0.9 * total_max or len(shorts) > MOST_SHORT - 2 or (shorts and one + 2 * h > f.limits["dropout_min_s"]):
            labels.margins.append(Margin("F2", -2.0, f"{len(shorts)} short losses, at most {upper * 1e3:.2f} ms"))


def _drops(f: Feed, labels: Labels) -> None:
    """F3, F4, F5: windows of 0.5 s and 10 ms between ON + 0.05 s and OFF."""
    t = f.s.world.t_s
    spans = [(a + 0.05, b) for a, b in f.times.spans]
    for generous in (True, False):
        lost = _excepted(f, generous)
        for obligation, window, limit in (
            ("F3", 0.5, f.steady_v),
            ("F4", 0.01, f.limits["feed_drop_brief_fail_v"]),
        ):
            value, where = worst_mean(t, lost, window, spans)
            if not math.isfinite(value):
                continue
            at = float(np.interp(where, t, f.source))
            if not generous:  # clear of the limit has to hold where the reading is least certain: at the highest volts
                at = max(float(f.source[(t > a) & (t < b)].max()) for a, b in spans if b - a > window)
            u = f.known.difference("battery", at, "key_switch", at - value)
            if obligation == "F4":
                u = math.hypot(u, (0.02 if f.s.codes is not None else f.known.spacing_s / 0.01) * abs(value))
            by = (value - limit) / u
            if (generous and by > 0) or (not generous and by <= 0):
                labels.margins.append(Margin(obligation, by, f"{value:.3f} V at {where:.3f} s"))
            elif not generous:
                labels.margins.append(Margin(obligation, min(by, -0.5), f"{value:.3f} V at {where:.3f} s, travel counted"))
    value, where = worst_mean(t, -f.lost_v, 0.5, spans)
    if math.isfinite(value):
        at = float(np.interp(where, t, f.source))
        u = f.known.difference("battery", at, "key_switch", at)
        labels.add("F5", value, 0.3 + 2 * u, u, f"above by {value:.3f} V at {where:.3f} s")


def _excepted(f: Feed, generous: bool) -> Floats:
    """Volts lost with the bounces in travel left out: generously (vague places too) or strictly (those plainly tolerated)."""
    t = f.s.world.t_s
    level = f.limits["feed_drop_brief_fail_v"]
    limit = f.limits["turn_bounce_max_s"] + (4 if generous else -4) * f.known.time_s
    over = [x for a, b in f.times.spans for x in below(t, -f.lost_v, -level, a, b)]
    if generous:
        over = [x for x in over if x.length_s >= _seen_s(f)]
    lost = f.lost_v.copy()
    for b in bounces(f.times, over, f.limits["turn_bounce_max_s"]):
        tolerated = b.place == "travel" or (generous and (b.place == "vague" or (f.no_lead and _near_travel(f.times, b))))
        if tolerated and b.end_s - b.begin_s <= limit:
            i, j = np.searchsorted(t, [b.begin_s - 2e-4, b.end_s + 2e-3])
            lost[i:j] = np.minimum(lost[i:j], 0.0)
    return lost
