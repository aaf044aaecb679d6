"""The fixed list of obligations, and their discharge: every one for every instance, none left out.

An obligation's function is total: it returns a finding, never nothing, so that what could not be evaluated is undecided with its
reason and not silent.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from firstcrank.analysis.obligations import crank, feed_drop, feed_losses, key, leads, recording, supply
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding, Interval
from firstcrank.model.vocabulary import Result

ForRecording = Callable[[View], Finding]
ForCrank = Callable[[View, int], Finding]
ForPhase = Callable[[View, Interval, feed_drop.DropWindows], Finding]


@dataclass(frozen=True, slots=True)
class Obligation:
    """`id` as printed in docs/method.md; `text` in one line; exactly one of the three functions.

    `voids`: where it is not met nothing in the recording can be trusted, not even a fault that it shows.
    """

    id: str
    text: str
    for_recording: ForRecording | None = None
    for_crank: ForCrank | None = None
    for_phase: ForPhase | None = None
    window: str = ""
    voids: bool = False

    def __post_init__(self) -> None:
        if sum(f is not None for f in (self.for_recording, self.for_crank, self.for_phase)) != 1:
            raise ValueError(f"{self.id}: one function")


def _no_windows(judge: Callable[[View, Interval], Finding]) -> ForPhase:
    return lambda view, interval, windows: judge(view, interval)


OBLIGATIONS: tuple[Obligation, ...] = (
    Obligation("R1", "a recording of a start", recording.kind, voids=True),
    Obligation("R2", "its limits, answers, calibration and identity are intact", recording.intact, voids=True),
    Obligation("R3", "volts are calibrated", recording.calibrated, voids=True),
    Obligation("R4", "closed by the recorder, not torn", recording.closed),
    Obligation("R5", "nothing that could hide a dropout is missing from before ON to OFF", recording.nothing_missing),
    Obligation(
        "R6", "samples closer than the shortest dropout that counts, and not smoothed beyond it", recording.sampled_finely
    ),
    Obligation("R7", "no lead stands at the top of its range", recording.within_range),
    Obligation("R8", "single readings are plausible", recording.plausible),
    Obligation("L1", "the battery at rest fits the system's voltage", leads.system_voltage, voids=True),
    Obligation("L2", "battery and key lead are not exchanged", leads.in_place, voids=True),
    Obligation("L3", "battery and key lead are on two points", leads.apart),
    Obligation("L4", "no clip moved", leads.clips_still, voids=True),
    Obligation("A1", "cranked with the vehicle's own key, as far as asked", leads.own_key),
    Obligation("A2", "module plugged in, as far as asked", leads.module_plugged),
    Obligation("K1", "feed seen dead, then ON", key.seen_dead),
    Obligation("K2", "feed live before START", key.live_before),
    Obligation("K3", "feed watched after every crank with the key left ON", for_crank=key.held_after),
    Obligation("C1", "a crank was seen", crank.seen),
    Obligation("C2", "one crank long enough, or the engine ran by itself", crank.long_enough),
    Obligation("C3", "turned by the starter's own circuit", for_crank=crank.by_starter),
    Obligation("F1", "no loss of the feed that counts", for_phase=_no_windows(feed_losses.none_counts)),
    Obligation("F2", "losses too short to count: few and short together", feed_losses.short_together),
    Obligation("F3", "steady drop within its limit", for_phase=feed_drop.steady, window="steady"),
    Obligation("F4", "brief drop within its limit", for_phase=feed_drop.brief, window="brief"),
    Obligation("F5", "feed not above its source", for_phase=feed_drop.above_source, window="steady"),
    Obligation(
        "P1",
        "the supply holds the feed up while cranking, or dips no longer than a module rides through",
        for_crank=supply.holds_up,
    ),
    Obligation("P2", "the supply holds the feed up otherwise", supply.holds_up_outside),
)


def discharge(view: View) -> tuple[Finding, ...]:
    """One finding for every obligation and instance, in the order of the table."""
    live = view.live_intervals()
    windows = {
        "": None,
        "steady": feed_drop.drop_windows(view, view.th.feed.steady_s),
        "brief": feed_drop.drop_windows(view, view.th.feed.brief_s),
    }
    found: list[Finding] = []
    for obligation in OBLIGATIONS:
        if obligation.for_recording is not None:
            finding = obligation.for_recording(view)
            found.append(replace(finding, voids=obligation.voids and finding.result is not Result.PASS))
        elif obligation.for_crank is not None:
            found += [obligation.for_crank(view, number) for number in range(1, len(view.cranks) + 1)]
        elif obligation.for_phase is not None:
            chosen = windows[obligation.window] or windows["brief"]
            assert chosen is not None
            found += [obligation.for_phase(view, interval, chosen) for interval in live]
    return tuple(found)
