"""Likely causes of what was found, ranked, each with its evidence in plain words and the next check with a meter.

One rule a cause. A rule looks at the findings and at the shape of the trace (does the feed follow the battery, is the loss
tied to START, to the key's travel, to shaking, to time) and gives a confidence from 0 to 1, or nothing. Confidences are our
judgement and no measured frequencies.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firstcrank.analysis import evidence
from firstcrank.analysis.checks.key_feed_dropout import follows_source
from firstcrank.analysis.findings import Cause, Dropout, Finding
from firstcrank.analysis.view import View
from firstcrank.units import text_s, text_v

LEAST = 0.2  # below this the evidence favours nothing

NEVER_TO_START = (
    "Do not move the feed to the START terminal: it would feed the starter back. Use a terminal that is live in RUN and in "
    "START, or a relay arrangement drawn by a competent person."
)


@dataclass(frozen=True, slots=True)
class Facts:
    """What the rules look at. Shares are of the crank's time, 0 to 1."""

    view: View
    findings: tuple[Finding, ...]
    own: tuple[Dropout, ...]  # dropouts of the feed that the battery does not explain
    lost_share: float
    lost_mean_v: float
    turn: tuple[Dropout, ...]
    inside: tuple[Dropout, ...]  # counting dropouts that begin and end within the crank

    def failed(self, check: str) -> tuple[Finding, ...]:
        """Findings of a check that failed."""
        return tuple(f for f in self.findings if f.check.startswith(check) and f.result == "fail")

    def drop_v(self, phase: str) -> float | None:
        """Steady drop measured in a phase."""
        found = [f.measured for f in self.findings if f.check.startswith("key_feed_drop_steady") and f.phase == phase]
        return found[0] if found else None


Rule = Callable[[Facts], Cause | None]


def likely_causes(view: View, findings: tuple[Finding, ...]) -> tuple[Cause, ...]:
    """Causes that the evidence favours, the likeliest first; empty where it favours none."""
    facts = _facts(view, findings)
    found = [cause for rule in RULES if (cause := rule(facts)) is not None and cause.confidence >= LEAST]
    return tuple(sorted(found, key=lambda cause: -cause.confidence))


def _facts(view: View, findings: tuple[Finding, ...]) -> Facts:
    own = tuple(d for d in view.dropouts if not follows_source(view, d))
    crank = view.in_phase("crank")
    lost = crank & (view.feed.mean_v < view.limits["module_minimum_v"])
    inside = []
    for d in own:
        phase = [p for p in view.named("crank") if p.start_s < d.start_s and d.start_s + d.duration_s < p.end_s]
        if phase and d.counts:
            inside.append(d)
    turn = [d for d in own if d.phase in ("key turn", "release") and d.counts]
    return Facts(
        view=view,
        findings=findings,
        own=own,
        lost_share=float(lost.sum() / crank.sum()) if crank.any() else 0.0,
        lost_mean_v=float(view.feed.mean_v[lost].mean()) if lost.any() else 0.0,
        turn=tuple(turn),
        inside=tuple(inside),
    )


def feed_from_start_terminal(facts: Facts) -> Cause | None:
    """Live in START and nowhere else."""
    if not evidence.only_while_cranking(facts.view):
        return None
    return Cause(
        "feed_from_start_terminal",
        0.95,
        "The feed is live only while the starter is commanded: it is connected to the switch's START terminal.",
        "Key in RUN: meter from the module's plug to battery negative reads 0 V; key in START it reads battery voltage. Move the "
        "feed to a terminal that is live in RUN and in START.",
    )


def feed_dead_in_start(facts: Facts) -> Cause | None:
    """Lost for most of the crank, good in RUN."""
    if facts.lost_share < 0.7 or not facts.own or evidence.only_while_cranking(facts.view):
        return None
    dead = facts.lost_mean_v < facts.view.limits["feed_off_v"]
    what = "dead" if dead else f"down to {text_v(facts.lost_mean_v)} on average"
    return Cause(
        "feed_dead_in_start",
        0.95 if dead else 0.85,
        f"The feed is good in RUN and {what} as long as the key is in START, so the engine cranks with its module "
        f"{'off' if dead else 'starved'}: the wrong terminal of the ignition switch, or a worn START contact.",
        "Starter lead off terminal 50 and tied away, key held in START: meter from the switch's feed terminal to battery negative. "
        "0 V: that terminal is not made in START. Several volts below the battery: the contact is worn. " + NEVER_TO_START,
    )


def feed_lost_at_turn(facts: Facts) -> Cause | None:
    """Lost only while the key travels."""
    if not facts.turn or facts.lost_share > 0.3 or facts.inside:
        return None
    longest = max(facts.turn, key=lambda d: d.duration_s)
    way = "from RUN to START" if longest.phase == "key turn" else "back from START to RUN"
    failed = any(f.result == "fail" and f.phase in ("key turn", "release") for f in facts.findings)
    return Cause(
        "feed_lost_at_turn",
        0.9 if failed else 0.3,
        f"The feed is lost only while the key travels {way}, for {text_s(longest.duration_s)}: the switch breaks one contact "
        "before it makes the other.",
        "Starter lead off terminal 50 and tied away: turn the key slowly between RUN and START with a meter on the feed; it must "
        "not flicker. A switch whose feed terminal stays made through the travel, or a relay arrangement drawn by a competent "
        "person, cures it.",
    )


def feed_relay(facts: Facts) -> Cause | None:
    """Lost only while the battery is at its lowest, from an abrupt edge: a relay that lets go."""
    if not facts.inside or facts.lost_share > 0.6:
        return None
    view = facts.view
    crank = view.in_phase("crank")
    first = next(view.named("crank"))
    early = [d for d in facts.inside if d.start_s < first.start_s + 0.35]
    if len(early) != len(facts.inside) or max(d.duration_s for d in early) < 0.02:
        return None
    at = [int(np.searchsorted(view.trace.end_s, d.start_s)) for d in early]
    battery = view.trace.channels["battery"].mean_v
    let_go_v = float(battery[at].mean())
    if let_go_v > float(np.percentile(battery[crank], 30)):
        return None
    return Cause(
        "feed_relay",
        0.75,
        f"The feed goes as the battery dips to {text_v(let_go_v)} at the start of the crank and comes back as it recovers: a relay "
        "in the feed lets go at low voltage (hot or weak coil, poor coil feed or ground).",
        "Find the relay in the feed. Key in RUN: meter across its coil should read within 0.5 V of the battery. Crank again with a "
        "meter on the coil, or with another relay.",
    )


def feed_loose(facts: Facts) -> Cause | None:
    """Dropouts that come and go within the crank."""
    if not facts.inside or facts.lost_share > 0.7:
        return None
    several = len(facts.inside) >= 3
    what = f"{len(facts.inside)} dropouts" if len(facts.inside) > 1 else "one dropout"
    return Cause(
        "feed_loose",
        0.9 if several else 0.7,
        f"{what} within the crank, the longest {text_s(max(d.duration_s for d in facts.inside))}, while the battery stays up: a "
        "contact in the feed opens as the engine shakes.",
        "Key in RUN, engine off: watch a meter on the feed at the module's plug while you tug each joint, the fuse and its holder, "
        "the switch's plug and the module's plug. Pull-test the crimps.",
    )


def feed_ballast(facts: Facts) -> Cause | None:
    """Too much drop in RUN and little in START: a resistor or resistor wire that START bypasses."""
    run_v, crank_v = facts.drop_v("key on"), facts.drop_v("crank")
    warn_v = facts.view.limits["feed_drop_warn_v"]
    if run_v is None or crank_v is None or run_v < warn_v or crank_v > 0.5 * run_v:
        return None
    return Cause(
        "feed_ballast",
        0.85,
        f"The feed drops {text_v(run_v)} in RUN and only {text_v(crank_v)} while cranking: it comes through a ballast resistor or "
        "resistor wire that START bypasses.",
        "Key in RUN: meter from the battery's positive post to each end of the feed's wire, from the switch outward; the step shows "
        "the resistor. Take the feed from ahead of it.",
    )


def feed_resistance(facts: Facts) -> Cause | None:
    """Too much drop in RUN and in START alike."""
    over = [f for f in facts.findings if f.check.startswith("key_feed_drop_steady") and f.result in ("fail", "warn")]
    run_v, crank_v = facts.drop_v("key on"), facts.drop_v("crank")
    if not over or facts.lost_share > 0.7:
        return None
    if run_v is not None and crank_v is not None and crank_v < 0.5 * run_v:
        return None
    failed = any(f.result == "fail" for f in over)
    worst_v = max(f.measured or 0.0 for f in over)
    return Cause(
        "feed_resistance",
        0.85 if failed else 0.5,
        f"The feed loses {text_v(worst_v)} between the battery and the module's plug, steadily: a corroded or loose joint, a thin "
        "wire, or a worn contact.",
        "Key in RUN, module plugged in: meter from the battery's positive post to the feed, moving along: switch input, switch "
        "output, each side of the fuse, each connector. More than 0.1 V across one of them is the place.",
    )


def battery_weak(facts: Facts) -> Cause | None:
    """The battery itself goes too low."""
    failed = facts.failed("battery_minimum")
    low = [f for f in facts.findings if f.check.startswith("battery_crank") and f.result == "warn"]
    if not failed:
        return None
    rest = [f for f in facts.findings if f.check == "battery_rest" and f.measured is not None]
    at_rest = f" It rests at {text_v(rest[0].measured or 0.0)}." if rest else ""
    return Cause(
        "battery_weak",
        0.9 if low else 0.7,
        "The feed goes down with the battery and by no more: the battery is discharged, worn or too small, or the starter draws too "
        f"much.{at_rest}",
        "Charge the battery, then load-test it at half its cold-cranking amperes for 15 s. If it holds, measure the starter's draw.",
    )


def fuse_or_link(facts: Facts) -> Cause | None:
    """The feed went in RUN or in the crank and never came back."""
    gap = evidence.gone_for_good(facts.view)
    if gap is None or not facts.own:
        return None
    return Cause(
        "fuse_or_link",
        0.5,
        "The feed went once and stayed dead. If the lead is still on it, a fuse or fusible link in the feed has opened.",
        "Check that the key lead is still on. Then key in RUN: meter on both sides of the feed's fuse.",
    )


RULES: tuple[Rule, ...] = (
    feed_from_start_terminal,
    feed_dead_in_start,
    feed_lost_at_turn,
    feed_relay,
    feed_loose,
    feed_ballast,
    feed_resistance,
    battery_weak,
    fuse_or_link,
)
