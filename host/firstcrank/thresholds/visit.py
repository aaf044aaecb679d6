"""The guided first start and the watch of a shaken harness."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class VisitThresholds:
    """The guided first start and the watch of a shaken harness."""

    burst_one_s: float = number(
        5.0, "s", "longest crank of the first burst, where the maker gives no time (common practice, no source)"
    )
    burst_two_s: float = number(10.0, "s", "of the second")
    burst_three_s: float = number(
        15.0, "s", "of the third: no starter cranks longer at a first start (common practice, no source)"
    )
    rest_times: float = number(4.0, "", "the starter rests so many times as long as it cranked")
    rest_least_s: float = number(30.0, "s", "and at least this")
    standstill_s: float = number(5.0, "s", "and never less, whatever the maker allows: the engine stands still")
    oil_s: float = number(15.0, "s", "oil pressure shows within this, where the maker gives no time")
    soak_s: float = number(900.0, "s", "15 min with the key off, then the hot restart (common practice, no source)")
    settle_s: float = number(2.5, "s", "watched after a crank in any case, for the judge")
    no_feed_s: float = number(0.3, "s", "the feed dead for so long with the key ON: it was turned off")
    most_held_s: float = number(6.0, "s", "an end that is asked for waits at most so long for evidence that watching brings")
    alone_s: float = number(6.5, "s", "watched after the first burst where nobody can answer")
    watched_least_s: float = number(60.0, "s", "a harness is not moved along its length in less")
    slip: float = number(
        8.0, "", "a reading this many times above or below its limits is asked about again: a decimal point has slipped"
    )
    stop_v: float = number(
        12.0, "V", "the battery sinks to this while the harness is watched: it ends, for the engine must still be started"
    )
    low_for_s: float = number(1.0, "s", "for so long")
    between_s: float = number(0.03, "s", "losses closer than this are one: a contact that bounces")
    switch_on_s: float = number(2.0, "s", "switch test: KEY ON for so long before a turn")
    switch_start_s: float = number(3.0, "s", "switch test: START held for so long")
    slip_without_low: float = number(80.0, "", "times above its only limit: asked about again")
    off_longer_s: float = number(1.5, "s", "the feed dead for this much longer than the module's power-down: the visit is over")
    makers_low: float = number(0.8, "", "of the maker's figure: a reading from here")
    makers_high: float = number(1.2, "", "to here is well")


VISIT = VisitThresholds()  # at 12 V
