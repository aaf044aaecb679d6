"""Crank speed and evenness from the battery's ripple: what is refused."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class SpeedThresholds:
    """Crank speed and evenness from the battery's ripple: what is refused."""

    settle_s: float = number(0.4, "s", "after engagement the speed still rises")
    leave_s: float = number(0.3, "s", "an engine that catches helps the starter before the key lets go")
    shortest_s: float = number(0.7, "s", "of steady cranking that gives a speed")
    least_compressions: float = number(3.5, "", "in that time")
    lowest_rpm: float = number(85.0, "rpm", "what any starter turns a diesel at (common practice, no source)")
    highest_rpm: float = number(450.0, "rpm", "and no faster (common practice, no source)")
    rhythm_share: float = number(0.4, "", "of the fluctuation's power that the rhythm and its harmonics must hold")
    ambiguous_share: float = number(0.25, "", "a rhythm of half the frequency this strong makes the factor of two uncertain")
    drift_rel: float = number(0.1, "", "the two halves may differ by this much")
    two_ways_rel: float = number(0.0125, "", "the turned phase and the line through it must agree on the mean speed")
    inner_rel: float = number(0.01, "", "and so must the speed without the outermost half compression at each end")
    slowest_step: float = number(0.3, "", "of the usual phase step: slower for a moment means that the rhythm was lost there")
    least_swing_v: float = number(0.02, "V", "of the battery, that shows compressions", scales=False)
    firing_share: float = number(0.2, "", "of the sag: a rise by this much while the starter is in means that the engine fires")
    least_cycles: int = count(3, "full engine cycles (two turns) that show an uneven compression")
    least_deficit: float = number(0.1, "", "of the mean swing that an uneven compression lacks at least")
    significant: float = number(3.5, "", "times the scatter of its repeats")
    grid_hz: float = number(400.0, "Hz", "rate of the even grid on which rhythms are measured")
    coarsest_share: float = number(0.25, "", "of the fastest compression: samples further apart show none")
    level_s: float = number(0.3, "s", "the battery before the crank is its median over this")
    end_s: float = number(0.06, "s", "left out before the release")
    least_bins: int = count(50, "that show when the engine fires")
    level_width_s: float = number(0.12, "s", "mean over which the engine's help is seen, or a whole compression")
    least_sag_v: float = number(0.3, "V", "of the sag of which that is a share", scales=False)
    firing_from: float = number(0.4, "", "of the crank: an engine that fires helps later than that")
    band_low: float = number(0.55, "", "times its frequency: the rhythm is followed from here")
    band_high: float = number(1.45, "", "to here")
    whole_from: float = number(0.45, "", "times its frequency: the fluctuation's power counts from here")
    whole_to: float = number(3.4, "", "to here: the slow course of the battery is no rhythm")
    swing_percent: float = number(97.0, "", "percent of the swing, and as much below: its size")
    search_below: float = number(0.4, "", "times the slowest starter's rhythm: it is searched from here")
    search_above: float = number(2.0, "", "times the fastest's: to here")
    search_grid: float = number(0.4, "", "of the grid's rate, at most")
    fires_before_s: float = number(0.05, "s", "the engine helped from this before it shows")
    end_compressions: float = number(0.1, "", "of a compression that is uncertain at each end of the window")
    drift_share: float = number(0.125, "", "of the drift over the window that is uncertainty")


SPEED = SpeedThresholds()  # at 12 V
