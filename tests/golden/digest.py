"""What must be read out of a recording, as a few numbers small enough to commit: two versions read alike where these agree."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from firstcrank.calibration import Calibration
from firstcrank.recording import Recording
from firstcrank.tracefiles.native import context_to_json

# What a calibration of the first version held for each lead, in its order.
LINE = ("gain_v_per_code", "offset_v", "u_gain_rel", "u_offset_v", "u_shared_gain_rel", "noise_v", "spike_v", "filter_s")
DIGITS = 9  # significant; sums of some thousand doubles agree to more on any platform


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def sums(values: ArrayLike) -> list[float]:
    """Sum, and sum weighted by place (so that an exchange or a shift shows), of an array of any numbers."""
    array = np.asarray(values, dtype=np.float64)
    place = np.arange(1, len(array) + 1) / max(len(array), 1)
    return [_rounded(float(array.sum())), _rounded(float((array * place).sum()))]


def plain(table: Mapping[str, Any]) -> dict[str, Any]:
    """Only what is set, with lists for tuples."""
    return {key: list(value) if isinstance(value, tuple) else value for key, value in table.items() if value not in (None, "")}


def digest(recording: Recording) -> dict[str, Any]:
    """Bins, channels, runs, close-ups and holes of a recording; its limits, answers, calibration and origin."""
    trace = recording.trace
    return {
        "bins": len(trace),
        "complete": trace.complete,
        "start_s": sums(trace.start_s),
        "end_s": sums(trace.end_s),
        "conversions": sums(trace.conversions),
        "gap_s": sums(trace.gap_s),
        "channels": {
            role: {
                "mean_v": sums(channel.mean_v),
                "lowest_v": sums(channel.lowest_v),
                "highest_v": sums(channel.highest_v),
                "full_scale_v": None if channel.full_scale_v is None else _rounded(channel.full_scale_v),
                "uncertainty": _numbers(
                    (
                        channel.uncertainty.gain_rel,
                        channel.uncertainty.offset_v,
                        channel.uncertainty.shared_gain_rel,
                        channel.uncertainty.noise_v,
                    )
                ),
            }
            for role, channel in trace.channels.items()
        },
        "runs": None
        if trace.runs is None
        else {
            "trigger_v": _rounded(trace.runs.trigger_v),
            "longest": sums(trace.runs.longest),
            "head": sums(trace.runs.head),
            "tail": sums(trace.runs.tail),
        },
        "close_ups": [
            {
                "edge_s": _rounded(piece.edge_s),
                "falling": piece.falling,
                "times_s": _numbers((piece.start_s, piece.period_s, piece.filter_s, *piece.offset_s.values())),
                "volts": {role: [len(values), *sums(values)] for role, values in piece.volts.items()},
            }
            for piece in trace.close_ups
        ],
        "holes_s": [_numbers((hole.start_s, hole.end_s)) for hole in trace.holes],
        "limits": None
        if recording.limits is None
        else {"system_v": recording.limits.system_v, "values": dict(recording.limits.values)},
        "answers": context_to_json(recording.context),
        "calibration": _calibration(recording.calibration),
        "meta": plain(recording.meta),
    }


def _calibration(calibration: Calibration | None) -> dict[str, Any] | None:
    """What it says of itself, and each role's numbers in the order of to_json."""
    if calibration is None:
        return None
    table: dict[str, Any] = {**calibration.to_json()}
    lines = table.pop("channels")
    return {**table, "channels": {role: _numbers([line.get(name, 0.0) for name in LINE]) for role, line in lines.items()}}


def _numbers(values: Iterable[float]) -> list[float]:
    return [_rounded(value) for value in values]
