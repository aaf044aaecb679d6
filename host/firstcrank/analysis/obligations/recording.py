"""Obligations of the recording itself: a start, intact, closed, whole, finely sampled, within range, plausible."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.trace import FloatArray
from firstcrank.units import format_duration, format_voltage

START = "start"


def lacking(check: CheckId, why: str, *, at_s: float | None = None, crank: int | None = None) -> Finding:
    """Evidence that is not there."""
    return Finding(check, Result.UNDECIDED, why, at_s=at_s, crank=crank)


def shown(check: CheckId, text: str, crank: int | None = None) -> Finding:
    """Evidence that is there."""
    return Finding(check, Result.PASS, text, crank=crank)


def role_label(role: str) -> str:
    """A lead's role for the reader."""
    return role.replace("_", " ")


def kind(view: View) -> Finding:
    """Only a recording of a start can pass as one."""
    if view.trace.kind == START:
        return shown(CheckId.RECORDING_KIND, "a recording of a start")
    why = f"this is the recording of a {view.trace.kind}, in which no engine is started: it can't pass as a start"
    return lacking(CheckId.RECORDING_KIND, why)


def intact(view: View) -> Finding:
    """Its own limits, answers, calibration and identity are whole."""
    if not view.trace.integrity:
        return shown(CheckId.RECORDING_INTACT, "limits, answers and calibration of the recording are intact")
    return lacking(CheckId.RECORDING_INTACT, "; ".join(view.trace.integrity))


def calibrated(view: View) -> Finding:
    """Volts need a calibration."""
    if not view.trace.origin.get("uncalibrated"):
        return shown(CheckId.CALIBRATED, "volts by a calibration")
    why = "no calibration for this board: volts are not known. Use --calibration, or calibrate the board"
    return lacking(CheckId.CALIBRATED, why)


def closed(view: View) -> Finding:
    """The recording must have been closed by the recorder."""
    if view.trace.complete:
        return shown(CheckId.RECORDING_CLOSED, "closed by the recorder")
    return lacking(CheckId.RECORDING_CLOSED, "the recording breaks off: the cable was pulled or the file is torn")


def nothing_missing(view: View) -> Finding:
    """Nothing long enough to hide a dropout may be missing from the last dead sample before ON to OFF or the end."""
    shortest_s = view.limits["dropout_min_s"]
    jump = np.flatnonzero(view.trace.start_s[1:] - view.trace.end_s[:-1] >= shortest_s)
    missing = [(float(view.trace.end_s[i]), float(view.trace.start_s[i + 1]), "") for i in jump.tolist()]
    missing += [(h.start_s, h.end_s, h.why) for h in view.trace.holes if h.end_s - h.start_s >= shortest_s]
    for start_s, end_s, why in sorted(missing, key=lambda hole: (hole[0], hole[2] == "")):
        if end_s > view.live_from_s - 1e-9 and start_s <= view.live_to_s + 1e-9:
            text = f"{format_duration(end_s - start_s)} are missing at {start_s:.2f} s" + (f": {why}" if why else "")
            return lacking(CheckId.NOTHING_MISSING, text, at_s=start_s)
    return shown(CheckId.NOTHING_MISSING, f"nothing of {format_duration(shortest_s)} or more is missing")


def sampled_finely(view: View) -> Finding:
    """The shortest dropout that counts must be longer than the longest time between two samples."""
    inside = view.within(view.live_from_s, view.live_to_s)
    shortest_s = view.limits["dropout_min_s"]
    if not inside.any():
        return lacking(CheckId.SAMPLED_FINELY, "nothing was recorded with the key ON")
    gap_s = view.trace.gap_s[inside]
    if float(gap_s.max()) < shortest_s:
        th, edge_s = view.th.evidence, _fastest_edge_s(view)
        if edge_s is not None and edge_s >= th.edge_time * shortest_s + th.edge_rows * float(np.median(gap_s)):
            why = (
                f"the key feed takes {format_duration(edge_s / th.edge_share)} to come on in this recording: it was smoothed, or resampled "
                f"from slower readings, and a dropout of {format_duration(shortest_s)} does not show in it"
            )
            return lacking(CheckId.SAMPLED_FINELY, why)
        return shown(CheckId.SAMPLED_FINELY, f"samples at most {format_duration(float(gap_s.max()))} apart")
    typical_s = float(np.median(gap_s))
    if typical_s >= shortest_s or float(gap_s.max()) < view.th.evidence.gap_uneven * typical_s:
        why = (
            f"the samples are too far apart: one every {format_duration(typical_s)}; to show a dropout of {format_duration(shortest_s)} "
            "they must be closer than that"
        )
        return lacking(CheckId.SAMPLED_FINELY, why)
    at_s = float(view.trace.start_s[inside][int(np.argmax(gap_s))])
    return lacking(
        CheckId.SAMPLED_FINELY, f"sampling paused for {format_duration(float(gap_s.max()))} at {at_s:.2f} s", at_s=at_s
    )


def _fastest_edge_s(view: View) -> float | None:
    """Shortest time in which single readings of the key feed go between a tenth and nine tenths of its level; None where none does.

    A contact closes in microseconds, so this is how fast the recording can follow. Bins hold their extremes and need no such proof.
    """
    key_v, th = view.trace.channels["key_switch"].mean_v, view.th.evidence
    live = key_v > view.limits["feed_live_v"]
    if int(view.trace.conversions.max()) > 1 or not live.any():
        return None
    usual_v = float(np.median(key_v[live]))
    dead, up = key_v <= th.edge_from * usual_v, key_v >= 0.5 * usual_v
    at = np.flatnonzero(dead | up)
    edges = np.flatnonzero(up[at[1:]] != up[at[:-1]])
    lasts_s = [_edge_s(view, key_v, int(at[k]), int(at[k + 1])) for k in edges.tolist()]
    return min(lasts_s, default=None)


def _edge_s(view: View, key_v: FloatArray, first: int, past: int) -> float:
    """How long one edge takes between two rows of which one is dead: up to the level that the feed has beside it, which charging moves."""
    th, start_s = view.th.evidence, view.trace.start_s
    rising = bool(key_v[past] > key_v[first])
    up = past if rising else first
    away_s = start_s[up] + (th.edge_beside_s if rising else -th.edge_beside_s)
    away = int(np.searchsorted(start_s, away_s))
    beside = key_v[up : max(away, up + 1)] if rising else key_v[min(away, up) : up + 1][::-1]
    whole = np.flatnonzero(beside >= (th.edge_from + th.edge_share) * float(np.median(beside)))
    reached = up + int(whole[0]) if rising else up - int(whole[0])
    return abs(float(start_s[reached] - start_s[first if rising else past]))


def within_range(view: View) -> Finding:
    """A reading at the top of an input's range may have been higher."""
    inside = view.within(view.live_from_s, view.live_to_s)
    for role, channel in view.trace.channels.items():
        if channel.full_scale_v is None:
            continue
        top_v = channel.full_scale_v - (1.0 - view.th.evidence.full_scale_share) * abs(channel.full_scale_v)
        top = (channel.highest_v >= top_v) & inside
        if top.any():
            at_s = float(view.trace.start_s[np.flatnonzero(top)[0]])
            why = (
                f"the {role_label(role)} lead went above the {format_voltage(channel.full_scale_v)} its input can measure, at "
                f"{at_s:.2f} s: what it did there is not known"
            )
            return lacking(CheckId.WITHIN_RANGE, why, at_s=at_s)
    return shown(CheckId.WITHIN_RANGE, "no reading stood at the top of its range")


def plausible(view: View) -> Finding:
    """Single readings of another logger must look like readings."""
    from firstcrank.analysis.plausibility import find_implausible

    for found in find_implausible(view.trace):
        if found.end_s > view.live_from_s and found.start_s < view.live_to_s:
            return lacking(CheckId.PLAUSIBLE, found.line, at_s=found.start_s)
    return shown(CheckId.PLAUSIBLE, "the readings are plausible")
