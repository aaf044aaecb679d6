"""Causes in battery, cables, grounds, starter control, heater, charging and engine."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.causes.symptoms import Symptoms, steady_crank
from firstcrank.analysis.intervals import runs_of
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Cause, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope
from firstcrank.thresholds.cause import CAUSE
from firstcrank.units import format_voltage

_CABLE_BY_SOURCE = (
    "Between the battery's post and the point that supplies the key switch volts are lost while cranking: a poor clamp or cable that "
    "carries the starter's current feeds the key switch too."
)


def _source_sags(symptoms: Symptoms) -> bool:
    """Where the feed's source has a lead of its own: it lies far below the battery's post while cranking, and not in ON."""
    view = symptoms.view
    if view.feed.source_role == "battery":
        return False
    lost_v = view.trace.channels["battery"].mean_v - view.feed.source_v
    crank = steady_crank(view)
    rest = view.in_phase(Phase.KEY_ON)
    if not crank.any() or not rest.any():
        return False
    low = bool(_missed(symptoms, Result.FAIL, Result.UNDECIDED)) or symptoms.found(
        CheckId.SUPPLY_MINIMUM, Result.FAIL, Result.UNDECIDED
    )
    step_v = float(np.median(lost_v[crank])) - float(np.median(lost_v[rest]))
    return bool(low) and step_v > 0.5 * view.limits["feed_drop_warn_v"]


def _missed(symptoms: Symptoms, *results: Result) -> list[Finding]:
    """Findings of the feed itself with one of these results."""
    return [f for f in symptoms.findings if f.scope is Scope.FEED and f.result in results]


def battery_weak(symptoms: Symptoms) -> Cause | None:
    """The battery itself goes too low."""
    failed = symptoms.found(CheckId.SUPPLY_MINIMUM, Result.FAIL, Result.UNDECIDED)
    low = symptoms.found(CheckId.BATTERY_CRANK, Result.WARN)
    if failed is None:
        return None
    rest = next((f for f in symptoms.findings if f.check is CheckId.BATTERY_REST and f.measured is not None), None)
    at_rest = f" It rests at {format_voltage(rest.measured or 0.0)}." if rest else ""
    return Cause(
        "battery_weak",
        0.9 if low else 0.7,
        "The feed goes down with the battery and by no more: the battery is discharged, worn or too small, or the starter draws too "
        f"much.{at_rest}",
    )


def battery_cable(symptoms: Symptoms) -> Cause | None:
    """The feed, and the starter's own control where it is watched, lose volts in step with the starter's current."""
    view = symptoms.view
    if _source_sags(symptoms):
        return Cause("battery_cable", 0.95, _CABLE_BY_SOURCE)
    crank_v, run_v = symptoms.drop_v(Phase.CRANK), symptoms.drop_v(Phase.KEY_ON)
    missed = _missed(symptoms, Result.FAIL, Result.WARN, Result.UNDECIDED)
    if not missed:
        return None
    brief = [f.measured or 0.0 for f in missed if f.check is CheckId.FEED_DROP_BRIEF and f.phase is Phase.CRANK]
    shared = symptoms.coil_share > CAUSE.coil_share and symptoms.lost_mean_v > view.limits["feed_off_v"]
    worst_v = max([crank_v or 0.0, *brief, symptoms.whole_drop_v if shared else 0.0])
    if (
        (symptoms.tracks_current < CAUSE.follows_current and not shared)
        or worst_v < view.limits["feed_drop_warn_v"]
        or symptoms.ground_share > 0.5
    ):
        return None
    if run_v is not None and run_v > CAUSE.rises_with_key * worst_v:
        return None
    return Cause(
        "battery_cable",
        0.93,
        f"Between the battery's post and the feed up to {format_voltage(worst_v)} are lost while cranking, in "
        "step with the starter's current, "
        "and almost nothing with KEY ON: a poor clamp or cable that carries the starter's current feeds the key switch too.",
    )


def ground_path(symptoms: Symptoms) -> Cause | None:
    """The module's or the engine's ground rises."""
    rises = [f for f in symptoms.findings if f.check in (CheckId.GROUND_RISE_MODULE, CheckId.GROUND_RISE_ENGINE)]
    risen = [f for f in rises if f.result is Result.FAIL]
    wrong = _missed(symptoms, Result.FAIL, Result.WARN)
    if not risen and (symptoms.ground_share < 0.5 or not wrong):
        return None
    worst_v = max([f.measured or 0.0 for f in rises] or [0.0])
    return Cause(
        "ground_path",
        0.94 if symptoms.ground_share >= 0.5 else 0.88,
        f"Ground rises {format_voltage(worst_v)} above the battery's negative post while cranking, and that is "
        "what the feed lacks: a poor strap "
        "or ground joint.",
    )


def starter_control_drop(symptoms: Symptoms) -> Cause | None:
    """Terminal 50 gets too little."""
    found = symptoms.found(CheckId.STARTER_CONTROL_DROP, Result.FAIL)
    if found is None:
        return None
    return Cause(
        "starter_control_drop",
        0.85,
        f"The starter solenoid's control circuit loses {format_voltage(found.measured or 0.0)}: switch, neutral "
        "switch, relay or their joints.",
    )


def _heater(symptoms: Symptoms, check: CheckId, cause: str, confidence: float, evidence: str) -> Cause | None:
    found = symptoms.found(check, Result.FAIL)
    return None if found is None else Cause(cause, confidence, evidence)


def heater_reversed(symptoms: Symptoms) -> Cause | None:
    """Minus on the solenoid's plus."""
    return _heater(
        symptoms,
        CheckId.HEATER_POLARITY,
        "heater_reversed",
        0.95,
        "The intake heater's solenoid sees minus on its plus stud: KEY OFF NOW, its diode dies within moments and may be dead already.",
    )


def heater_feed_low(symptoms: Symptoms) -> Cause | None:
    """Too little voltage at the solenoid."""
    if symptoms.found(CheckId.HEATER_POLARITY, Result.FAIL) or symptoms.found(CheckId.HEATER_CHATTER, Result.FAIL):
        return None
    return _heater(
        symptoms,
        CheckId.HEATER_VOLTAGE,
        "heater_feed_low",
        0.85,
        "The intake heater's solenoid gets much less than the battery: a thin wire, a poor joint or ground in its circuit.",
    )


def heater_loose(symptoms: Symptoms) -> Cause | None:
    """Its circuit opens while commanded."""
    return _heater(
        symptoms,
        CheckId.HEATER_CHATTER,
        "heater_loose",
        0.85,
        "The intake heater's solenoid circuit opens again and again while it is commanded: a loose contact.",
    )


def backfeed_after_off(symptoms: Symptoms) -> Cause | None:
    """Alive after key off."""
    found = symptoms.found(CheckId.KEY_OFF_DECAY, Result.FAIL)
    if found is None and symptoms.view.key.fed_back_until_s is not None:
        before_v = float(symptoms.view.feed.mean_v[0])
        return Cause(
            "backfeed_after_off",
            0.6,
            f"The feed stood at {format_voltage(before_v)} before the key came on: something feeds it back with "
            "the key off, or the lead is on "
            "another wire.",
        )
    held_v = _stepped_down_v(symptoms)
    if found is None and held_v is not None:
        return Cause(
            "backfeed_after_off",
            0.88 if _only_late(symptoms) else 0.45,
            f"Long after the crank the feed stepped down to {format_voltage(held_v)} and stood there: if the "
            "key was turned off then, something "
            "feeds it back (say so with --hold-on).",
        )
    if found is None:
        return None
    return Cause(
        "backfeed_after_off",
        0.9,
        f"With the key off the feed keeps {format_voltage(found.measured or 0.0)}: a lamp or the charging circuit feeds it back.",
    )


def _only_late(symptoms: Symptoms) -> bool:
    """Whether nothing fails but what lies behind the last crank's release."""
    cranks = symptoms.view.crank_intervals
    last_s = cranks[-1].end.late_s if cranks else 0.0
    return all(f.at_s is not None and f.at_s > last_s for f in symptoms.findings if f.result is Result.FAIL)


def _stepped_down_v(symptoms: Symptoms) -> float | None:
    """Where the feed, watched long enough after a crank, steps well below its source and stands there, never to come back but by ON."""
    view = symptoms.view
    source_v = np.maximum(view.feed.source_v, CAUSE.least_v)
    for crank in view.crank_intervals:
        from_s = crank.end.late_s + CAUSE.stepped_after * view.limits["after_release_s"]
        later = [c.start.early_s for c in view.crank_intervals if c.start.early_s > crank.end.late_s]
        to_s = min([float(view.trace.end_s[-1]), *later])
        chosen = view.within(from_s, to_s)
        if not chosen.any():
            continue
        low = (
            chosen
            & (view.feed.mean_v < CAUSE.stepped_share * source_v)
            & (view.feed.mean_v > CAUSE.stepped_least * view.limits.system_v)
        )
        firsts, pasts = runs_of(low)
        for a, b in zip(firsts.tolist(), pasts.tolist(), strict=True):
            stands = float(view.trace.end_s[b - 1] - view.trace.start_s[a]) >= CAUSE.stepped_s
            then_dead = b >= len(low) or not chosen[b] or view.feed.mean_v[b] < view.limits["feed_off_v"]
            ends = float(view.trace.end_s[b - 1]) >= to_s - CAUSE.end_s
            stood_v = float(np.median(view.feed.mean_v[a:b]))
            if stands and (then_dead or ends) and _steps_down(view, a, stood_v):
                return stood_v
    return None


def _steps_down(view: View, first: int, stood_v: float) -> bool:
    """Whether the feed left its source abruptly at bin `first`, from a good level, and was soon where it then stood: a contact that
    opened, no sinking feed."""
    at_s = float(view.trace.start_s[first])
    spans_s = (-CAUSE.step_before_s, -CAUSE.step_clear_s), (CAUSE.step_from_s, CAUSE.step_to_s)
    before, after = (view.within(at_s + from_s, at_s + to_s) for from_s, to_s in spans_s)
    if not before.any() or not after.any():
        return False
    before_v, after_v = (float(np.median(view.feed.drop_v[chosen])) for chosen in (before, after))
    whole_v = float(np.median(view.feed.source_v[after])) - stood_v
    stepped = after_v - before_v > max(CAUSE.step_share * view.limits.system_v, CAUSE.at_once_share * whole_v)
    return before_v < view.limits["feed_drop_warn_v"] and stepped


def module_supply_drop(symptoms: Symptoms) -> Cause | None:
    """The module's own supply."""
    checks = (CheckId.MODULE_SUPPLY_MINIMUM, CheckId.MODULE_SUPPLY_DROP, CheckId.MODULE_SUPPLY_LOOP)
    found = next((f for check in checks if (f := symptoms.found(check, Result.FAIL)) is not None), None)
    if found is None:
        return None
    return Cause(
        "module_supply_drop",
        0.85,
        "The module's own supply loses too much between the battery and its plug: fuse, holder, joints or a thin wire.",
    )


def no_charge(symptoms: Symptoms) -> Cause | None:
    """Running, and no higher than the battery stood before the start: a little above it may only need its minute yet."""
    found = symptoms.found(CheckId.CHARGING, Result.FAIL)
    if found is None or found.measured is None or found.measured > symptoms.view.limits["charge_low_v"]:
        return None
    return Cause(
        "no_charge",
        0.8,
        f"The engine runs and the battery stays at {format_voltage(found.measured or 0.0)}: nothing charges it.",
    )


def _low(finding: Finding | None) -> bool:
    return finding is not None and finding.measured is not None


def slow_crank(symptoms: Symptoms) -> Cause | None:
    """Too slow although the battery holds."""
    found = symptoms.found(CheckId.CRANK_SPEED, Result.WARN)
    if found is None or not _low(found) or symptoms.found(CheckId.SUPPLY_MINIMUM, Result.FAIL):
        return None
    return Cause(
        "slow_crank",
        0.7,
        f"The engine turns at {found.measured or 0.0:.0f} rpm: too slow for many diesels to start.",
    )


def uneven_compression(symptoms: Symptoms) -> Cause | None:
    """One compression stands out."""
    found = symptoms.found(CheckId.CRANK_EVENNESS, Result.WARN)
    if found is None:
        return None
    return Cause(
        "uneven_compression",
        min(0.4 + (found.measured or 0.0), 0.75),
        "One compression sags less than the others, turn after turn (a hint, no measurement of compression).",
    )
