"""What the rules on causes look at, worked out once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.checks.key_feed_dropout import follows_source
from firstcrank.analysis.findings import Dropout, Finding
from firstcrank.analysis.view import View

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
    tracks_current: (
        float  # correlation of the feed's drop with the battery's sag while cranking, -1 to 1; above 0: with current
    )
    whole_drop_v: float  # mean of source less feed while cranking, dropouts and all
    coil_share: (
        float  # what the starter's own control loses while cranking, as a share of what the feed loses; 0 without that lead
    )
    ground_share: float  # share of the feed's drop while cranking that the module's ground explains; 0 without that lead

    def failed(self, check: str) -> tuple[Finding, ...]:
        """Findings of a check that failed."""
        return tuple(f for f in self.findings if f.check.startswith(check) and f.result == "fail")

    def found(self, check: str, *results: str) -> Finding | None:
        """The first finding of a check with one of these results."""
        return next((f for f in self.findings if f.check.startswith(check) and f.result in results), None)

    def drop_v(self, phase: str) -> float | None:
        """Steady drop measured in a phase."""
        found = [f.measured for f in self.findings if f.check.startswith("key_feed_drop_steady") and f.phase == phase]
        return found[0] if found else None


def facts_of(view: View, findings: tuple[Finding, ...]) -> Facts:
    """Works them out."""
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
        tracks_current=_tracks_current(view),
        whole_drop_v=_whole_drop_v(view),
        coil_share=_coil_share(view),
        ground_share=_ground_share(view),
    )


def _steady_crank(view: View) -> np.ndarray:
    chosen = np.zeros(len(view.trace), dtype=bool)
    for phase in view.named("crank"):
        chosen |= view.within(phase.start_s + 0.02, phase.end_s)
    return chosen


def _tracks_current(view: View) -> float:
    """A bad joint that carries the starter's current drops more the lower the battery is; one in the feed alone does not."""
    chosen = _steady_crank(view) & (view.feed.mean_v > view.limits["feed_off_v"])
    if chosen.sum() < 50:
        return 0.0
    drop, sag = view.feed.drop_v[chosen], -view.trace.channels["battery"].mean_v[chosen]
    if np.std(drop) < 0.01 or np.std(sag) < 0.01:
        return 0.0
    return float(np.corrcoef(drop, sag)[0, 1])


def _whole_drop_v(view: View) -> float:
    chosen = _steady_crank(view)
    return float(view.feed.drop_v[chosen].mean()) if chosen.any() else 0.0


def _coil_share(view: View) -> float:
    """Near 1: feed and starter control lose the same, so the loss lies before the switch. A contact in the feed leaves the coil alone."""
    chosen = _steady_crank(view)
    feed_v = _whole_drop_v(view)
    if not view.trace.has("starter_coil") or feed_v < view.limits["feed_drop_warn_v"]:
        return 0.0
    battery_v, coil_v = (view.trace.channels[role].mean_v[chosen] for role in ("battery", "starter_coil"))
    return float((battery_v - coil_v).mean()) / feed_v


def _ground_share(view: View) -> float:
    if not view.trace.has("module_ground"):
        return 0.0
    chosen = _steady_crank(view)
    if not chosen.any():
        return 0.0
    drop_v = float(view.feed.drop_v[chosen].mean())
    return float(view.trace.channels["module_ground"].mean_v[chosen].mean()) / drop_v if drop_v > 0.1 else 0.0
