"""Where the starter turned the engine, and what shows it."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class CrankThresholds:
    """Where the starter turned the engine."""

    coil_live_v: float = number(3.0, "V", "starter lead above this, and above the share below of the battery, is live")
    coil_live_share: float = number(0.4, "", "of the battery's voltage, at most that of a full battery")
    full_battery_v: float = number(12.0, "V", "the coil is held against at most this")
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
    before_from_s: float = number(0.5, "s", "with a starter lead: the battery before a crank is its median from this before")
    before_to_s: float = number(0.1, "s", "to this before")
    coil_on_before_s: float = number(0.06, "s", "without the lead: the coil goes live up to this before the sag begins")
    like_starter_s: float = number(
        0.6, "s", "without a starter lead: a sag as deep and abrupt as a starter's for this long may be a crank"
    )
    maybe_inrush_of_sag: float = number(
        1.3, "", "a sag of any depth may be a crank where its inrush is at least so many times as deep, as no heater's is"
    )
    maybe_rhythm_share: float = number(0.5, "", "and where compressions fill this much of its time: noise makes a few in a row")
    turned_share: float = number(0.5, "", "with a starter lead: compressions fill this much of a crank, as noise does not")
    turned_noise: float = number(
        10.0, "", "or swing by so many sigma of the noise left in the curve: a weak cylinder breaks the row"
    )
    coarsest_s: float = number(0.03, "s", "samples further apart can't tell an inrush from a heater")


CRANK = CrankThresholds()  # at 12 V
