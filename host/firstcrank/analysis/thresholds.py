"""Every number the judge decides by that is not a limit of the vehicle: frozen tables, scaled to the system once.

Limits (limits.py) are what a shop edits; thresholds are the method's own. `firstcrank limits show --all` prints both. Unless a
source is named they are our choice, held against simulated starts (docs/method.md).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, TypeVar

from firstcrank import start_tracker
from firstcrank.units import US_PER_S

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Table = TypeVar("Table", bound="DataclassInstance")


def number(default: float, unit: str, meaning: str) -> float:
    """A threshold: value at 12 V, unit ("V" scales with the system), meaning in one line."""
    return field(default=default, metadata={"unit": unit, "meaning": meaning})


@dataclass(frozen=True, slots=True)
class CrankThresholds:
    """Where the starter turned the engine."""

    coil_live_v: float = number(3.0, "V", "starter lead above this, and above the share below of the battery, is live")
    coil_live_share: float = number(0.4, "", "of the battery's voltage, at most that of a full battery")
    coil_join_s: float = number(0.2, "s", "a coil that chatters with shorter breaks is one crank")
    coil_shortest_s: float = number(0.05, "s", "a shorter pulse of the coil is no crank")
    sag_least_v: float = number(0.2, "V", "a starter that works pulls the battery down by at least this")
    sag_no_lead_v: float = number(
        1.3, "V", "without a starter lead a crank pulls the battery down by at least this: hardly a fan does"
    )
    inrush_of_sag: float = number(
        2.3, "", "without a starter lead: the inrush is at most so many times the sag; a fan's is more"
    )
    maybe_sag_v: float = number(1.0, "V", "and from here to the sag above it may be a crank, which is undecided")
    inrush_no_lead_v: float = number(
        1.5, "V", "without a starter lead: and by at least this at first, a starter that stands still"
    )
    sag_begin_v: float = number(0.25, "V", "the sag has begun where the battery is this far below its level before")
    inrush_v: float = number(0.7, "V", "the inrush pulls any battery down by more, within the time below")
    inrush_s: float = number(0.06, "s", "within this")
    inrush_deepest_s: float = number(0.12, "s", "the battery is lowest within this after the sag began, or nearly so")
    inrush_deepest_share: float = number(0.75, "", "of the crank's lowest that the first moments must reach")
    level_s: float = number(0.3, "s", "the battery's level before a sag is its median over this")
    settle_s: float = number(0.12, "s", "compressions are looked for from here after the sag began")
    grid_hz: float = number(400.0, "Hz", "rate of the even grid on which compressions are looked for")
    smooth_s: float = number(0.0075, "s", "moving mean before turning points are taken")
    swing_least_v: float = number(0.03, "V", "a compression swings the battery by at least this")
    swing_share: float = number(0.25, "", "of the median swing: smaller ones are no turning points")
    swing_of_sag: float = number(0.015, "", "of the sag's depth: smaller ones are no turning points")
    swing_raw_share: float = number(0.3, "", "of a swing that the voltage itself makes: less is what the trend leaves behind")
    swings_made_share: float = number(0.6, "", "of the swings that must be made so")
    swings_regular: float = number(3.0, "", "compressions in a row that make a rhythm, where they are as regular as below")
    swings_enough: float = number(5.0, "", "compressions in a row that make a rhythm with one out of step")
    interval_low: float = number(0.55, "", "of the median interval: a shorter one is out of step")
    interval_high: float = number(1.7, "", "of the median interval: a longer one is out of step")
    first_low_s: float = number(0.5, "s", "the first compression comes this soon after the inrush has settled")
    interval_least_s: float = number(0.025, "s", "40 compressions a second: faster is no crank")
    interval_most_s: float = number(0.55, "s", "slower is no crank")
    step_s: float = number(0.005, "s", "a change is a step where most of it comes within this")
    step_share: float = number(0.62, "", "of a swing within the time above: it is a switch and not a compression")
    release_share: float = number(0.55, "", "of the rise at the crank's end within the time above: the starter let go")
    release_least_v: float = number(0.18, "V", "a step up by less is no release")
    release_of_sag: float = number(0.1, "", "of the sag's depth that the release steps up at least")
    coil_on_before_s: float = number(0.06, "s", "without the lead: the coil goes live up to this before the sag begins")
    like_starter_s: float = number(
        0.6, "s", "without a starter lead: a sag as deep and abrupt as a starter's for this long may be a crank"
    )
    maybe_inrush_of_sag: float = number(
        1.3, "", "a sag of any depth may be a crank where its inrush is at least so many times as deep, as no heater's is"
    )
    maybe_rhythm_share: float = number(0.5, "", "and where compressions fill this much of its time: noise makes a few in a row")
    coarsest_s: float = number(0.03, "s", "samples further apart can't tell an inrush from a heater")


@dataclass(frozen=True, slots=True)
class KeyThresholds:
    """Where the key is, read from the feed outside the cranks."""

    dead_least_s: float = number(0.05, "s", "dead for this long before it rises: seen off")
    blip_dead_s: float = number(0.05, "s", "dead for this long after a pulse shorter than a dropout: the pulse is no key on")
    settle_s: float = number(0.05, "s", "drops are judged from this after key on")
    rise_bounce_s: float = number(0.1, "s", "a bounce of the key coming on ends within this")
    live_before_s: float = number(0.2, "s", "live for this long before START")
    fall_most_s: float = number(0.5, "s", "key off: from the feed's level to dead within this, without a break")
    fall_step_v: float = number(0.5, "V", "key off begins where the feed has left its source's course by this")
    fall_rise_v: float = number(0.6, "V", "an unbroken fall never rises by more than this")
    fall_bounce_s: float = number(0.01, "s", "but for a bounce while the contact opens")
    off_between_s: float = number(0.65, "s", "between cranks a key that was off was off for this long")
    off_before_s: float = number(0.5, "s", "dead for this long between key on and START: was it the key?")
    travel_s: float = number(0.15, "s", "a bounce of the key's travel lies this close to the starter coil's edge")
    travel_vague_s: float = number(0.3, "s", "up to this it may be one")
    late_relay_s: float = number(
        0.02, "s", "a starter relay lets go up to this late, so the travel may begin before the coil falls"
    )
    early_start_s: float = number(0.005, "s", "the travel may end this much after the coil went live")
    turn_s: float = number(0.3, "s", "the phase called key turn begins this long before START")
    release_s: float = number(0.3, "s", "the phase called release ends this long after the starter let go")


@dataclass(frozen=True, slots=True)
class FeedThresholds:
    """Losses and drops of the feed."""

    trigger_near_v: float = number(0.01, "V", "runs counted at a voltage further from the limit say nothing about it")
    merged_s: float = number(
        0.00015, "s", "a recovery this short, or of one sample, makes two losses one: a spike is no recovery"
    )
    merged_share: float = number(0.5, "", "two losses are one where the feed was below for this share of the whole")
    short_most: float = number(20.0, "", "more losses too short to count than this are undecided")
    unexplained_share: float = number(
        0.15, "", "of the area of a bin's longest loss: so much missing from its mean needs another loss there"
    )
    opening_v: float = number(1.0, "V", "a loss less deep than this within a bin is no opening, and hides no other")
    input_s: float = number(0.00006, "s", "time constant of the feed's input where the calibration does not tell it")
    steady_s: float = number(0.5, "s", "steady drop: worst mean over this")
    brief_s: float = number(0.01, "s", "brief drop: worst mean over this")
    above_source_v: float = number(0.3, "V", "a feed this far above its source has another source")
    follows_share: float = number(0.05, "", "of a loss in which the feed may leave its source and still follow it")
    graze_bins: float = number(1.0, "", "samples in a row near the limit that make it undecided, where time alone says nothing")


@dataclass(frozen=True, slots=True)
class EvidenceThresholds:
    """What makes a recording useless or incomplete."""

    rest_low_v: float = number(8.0, "V", "a battery at rest is above this")
    rest_high_v: float = number(16.5, "V", "and below this (24 V: 32 V)")
    rest_low_24v: float = number(18.0, "", "lowest rest of a 24 V battery, volts")
    rest_high_24v: float = number(32.0, "", "highest rest of a 24 V battery, volts")
    rest_six_v: float = number(5.0, "", "above this a 6 V vehicle or a flat battery, volts")
    rest_below_zero_v: float = number(-0.5, "", "below this the leads are reversed, volts")
    same_battery_v: float = number(0.3, "V", "a feed source this close to the battery with the key off is the battery's")
    edge_from: float = number(0.1, "", "an edge of the feed is timed from this share of its level")
    edge_share: float = number(
        0.5, "", "and over this share more; in single readings it may not take this share of a dropout that counts"
    )
    edge_rows: float = number(2.0, "", "beside so many readings: it may fall between two, and one into it")
    battery_gone_v: float = number(2.5, "V", "the battery lead has come off below this")
    step_v: float = number(0.4, "V", "all leads stepping by this")
    step_alike: float = number(0.25, "", "share by which those steps may differ")
    step_lasts_s: float = number(0.02, "s", "and staying there this long: a clip moved")
    step_dead_v: float = number(0.6, "", "a lead below this was dead before, volts")
    step_clear_s: float = number(0.3, "s", "steps this close to a crank's edge are the starter's")
    same_point_v: float = number(0.03, "V", "key and battery closer than this throughout are on one point")
    full_scale_share: float = number(0.998, "", "of an input's range: the reading may have been higher")
    least_bins: float = number(10.0, "", "a recording of fewer bins holds almost nothing")
    hole_slack_s: float = number(0.002, "s", "a watch may be shorter by this")


@dataclass(frozen=True, slots=True)
class RunningThresholds:
    """What proves that the engine ran by itself after a short crank, where nobody was asked."""

    takeover_s: float = number(0.08, "s", "the battery rises for at least this before the starter lets go")
    takeover_share: float = number(0.3, "", "of the sag that it wins back by then")
    takeover_step: float = number(0.5, "", "of that rise within one step: a charger joined, no engine took over")
    quiet_share: float = number(0.4, "", "of the compressions' swing that is left after the takeover")
    charged_v: float = number(13.0, "V", "charged above this")
    charged_above_rest_v: float = number(0.3, "V", "and above its rest by this")
    charged_within_s: float = number(6.0, "s", "within this after the release")
    charged_share: float = number(0.9, "", "of the rest of the watch that it stays charged")
    contradicts_s: float = number(1.0, "s", "reported as running, but cranked again within this: it did not")


@dataclass(frozen=True, slots=True)
class VehicleThresholds:
    """Checks beside the feed."""

    crank_settle_s: float = number(0.2, "s", "means while cranking leave the inrush out")
    crank_leave_s: float = number(0.05, "s", "and the end")
    recovery_from_s: float = number(1.5, "s", "battery recovery from here")
    recovery_to_s: float = number(2.0, "s", "to here after the release")
    recovery_low_v: float = number(0.4, "V", "below the rest limit by this it recovers badly")
    charging_watch_s: float = number(
        60.0, "s", "no charge is said only after this much running (an intake heater cycles that long)"
    )
    charging_late_s: float = number(2.0, "s", "charging is the mean over the last of it")
    heater_live_v: float = number(2.5, "V", "the heater's coil counts as energised")
    heater_open_s: float = number(0.25, "s", "shorter openings are chatter, longer ones the module's own switching")
    heater_least_s: float = number(0.05, "s", "shorter pulses are no command")
    control_first_s: float = number(0.06, "s", "first reading of the starter's control circuit ends here")
    off_quiet_s: float = number(0.3, "s", "watched this long after the module's power-down")


@dataclass(frozen=True, slots=True)
class TrackerThresholds:
    """Following a start while it goes on, on the live screen and on a board that works alone. Times of start_tracker.py are its own."""

    off_seen_s: float = number(start_tracker.OFF_SEEN_US / US_PER_S, "s", "the feed dead for this long: the key was seen off")
    on_seen_s: float = number(0.4, "s", "live screen: the feed live for this long: the key is on")
    live_before_s: float = number(start_tracker.LIVE_BEFORE_US / US_PER_S, "s", "board: live for this long before the crank")
    again_s: float = number(
        start_tracker.AGAIN_US / US_PER_S, "s", "dead for this long without a crank: the key was turned back"
    )
    crank_seen_s: float = number(start_tracker.CRANK_SEEN_US / US_PER_S, "s", "starter or sag for this long: a crank")
    release_seen_s: float = number(start_tracker.RELEASE_SEEN_US / US_PER_S, "s", "over for this long: the crank has ended")
    extra_s: float = number(start_tracker.EXTRA_US / US_PER_S, "s", "watched a little longer than the judge needs")
    level_s: float = number(
        start_tracker.LEVEL_US / US_PER_S, "s", "the battery's level before the crank is its average over this"
    )
    inrush_s: float = number(start_tracker.INRUSH_US / US_PER_S, "s", "board: left out of what is counted in a crank")
    swings_least: float = number(float(start_tracker.LEAST_SWINGS), "", "board, no starter lead: turns of the battery's curve")
    creep_s: float = number(30.0, "s", "live screen, no starter lead: the level follows a heater's sag this slowly")
    off_wait_s: float = number(60.0, "s", "live screen: longest wait for the key to go off")
    recover_v: float = number(0.5, "V", "no starter lead: the crank is over where the battery is back this close to its level")
    turn_sag_v: float = number(0.3, "V", "board: a starter that turns the engine pulls the battery down by this")
    ripple_v: float = number(0.04, "V", "board: a compression swings its coarse means by this")
    charged_v: float = number(13.2, "V", "board: charged above this")
    ground_rise_v: float = number(0.1, "V", "board: the module's ground rose above this: no answer")


@dataclass(frozen=True, slots=True)
class Thresholds:
    """All tables, for one system voltage."""

    crank: CrankThresholds
    key: KeyThresholds
    feed: FeedThresholds
    evidence: EvidenceThresholds
    running: RunningThresholds
    vehicle: VehicleThresholds
    tracker: TrackerThresholds


def _scaled(table: Table, scale: float) -> Table:
    return replace(table, **{f.name: getattr(table, f.name) * scale for f in fields(table) if f.metadata["unit"] == "V"})


def thresholds_for(system_v: int) -> Thresholds:
    """The tables for a 12 or 24 V system: every voltage doubles at 24 V."""
    scale = system_v / 12.0
    return Thresholds(
        _scaled(CrankThresholds(), scale),
        _scaled(KeyThresholds(), scale),
        _scaled(FeedThresholds(), scale),
        _scaled(EvidenceThresholds(), scale),
        _scaled(RunningThresholds(), scale),
        _scaled(VehicleThresholds(), scale),
        _scaled(TrackerThresholds(), scale),
    )


def rows(thresholds: Thresholds) -> Iterator[tuple[str, float, str, str]]:
    """(name, value, unit, meaning) of every threshold, for printing."""
    for group in fields(thresholds):
        table = getattr(thresholds, group.name)
        for entry in fields(table):
            unit = str(entry.metadata["unit"])
            yield f"{group.name}.{entry.name}", float(getattr(table, entry.name)), unit, str(entry.metadata["meaning"])
