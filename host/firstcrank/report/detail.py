"""What a page can zoom into: every bin where something happens, groups of bins elsewhere, and the raw conversions at edges.

Numbers are little-endian arrays, compressed (zlib, RFC 1950) and in base64, so that the page stays small: times in microseconds as
uint32, volts in millivolts as int16.
"""

from __future__ import annotations

import base64
import zlib

import numpy as np

from firstcrank.model.judgement import Judgement
from firstcrank.report.drawing import BELOW_TO_TOP, STYLES, overview, width_pt
from firstcrank.report.summary import losses
from firstcrank.trace import FloatArray, IntArray, Trace

MOST_POINTS = 16_000  # of one lead, two a group: the lowest and the highest
MARGIN_S = 0.25  # kept bin by bin on both sides of a border or loss
MOST_RAW = 40_000  # conversions of all close-ups
MISSING_MV = -32_768
US = 1e6


def detail(trace: Trace, judgement: Judgement) -> dict[str, object]:
    """Values for zoom.js: leads in drawing order, their times and volts, the close-ups, named stretches to jump to."""
    roles = [*(r for r in BELOW_TO_TOP if r in trace.channels), *(r for r in trace.channels if r not in BELOW_TO_TOP)]
    groups = _groups(trace, judgement)
    start_s = float(trace.start_s[0])
    times = np.add.reduceat(trace.mid_s, groups) / np.diff(np.append(groups, len(trace)))
    tables: dict[str, object] = {"bins": {"t": _packed(_us(np.repeat(times, 2) - start_s), "<u4")}}
    for role in roles:
        channel = trace.channels[role]
        low, high = np.minimum.reduceat(channel.lowest_v, groups), np.maximum.reduceat(channel.highest_v, groups)
        tables[role] = _packed(_mv(np.column_stack((high, low)).ravel()), "<i2")
    whole = overview(trace, judgement)
    return {
        "start": start_s,
        "leads": [
            {"role": r, "name": STYLES[r].label, "colour": STYLES[r].colour, "dashes": STYLES[r].dashes, "width": width_pt(n)}
            for n, r in enumerate(roles)
        ],
        "tables": tables,
        "raw": _raw(trace, start_s),
        "bands": [[a, b] for a, b in whole.bands_s],
        "captions": [[at_s, name] for at_s, name in whole.captions],
        "volts": list(whole.volts),
        "jumps": _jumps(trace, judgement),
    }


def _groups(trace: Trace, judgement: Judgement) -> IntArray:
    """First bin of each group."""
    count = len(trace)
    if 2 * count <= MOST_POINTS:
        return np.arange(count)
    wanted = np.zeros(count, dtype=bool)
    spans = [(p.start_s, p.start_s) for p in judgement.phases] + [(c.end_s, c.end_s) for c in judgement.cranks]
    spans += [edge for d in losses(judgement) for edge in ((d.start_s, d.start_s), (d.end_s, d.end_s))]
    for from_s, to_s in spans:
        first, past = np.searchsorted(trace.start_s, (from_s - MARGIN_S, to_s + MARGIN_S))
        if int(wanted.sum()) + past - first < MOST_POINTS // 4:
            wanted[first:past] = True
    size = max(-(-(count - int(wanted.sum())) // (MOST_POINTS // 4)), 1)
    begins = wanted | (np.arange(count) % size == 0)
    begins[1:] |= wanted[:-1] & ~wanted[1:]
    begins[0] = True
    return np.flatnonzero(begins)


def _raw(trace: Trace, start_s: float) -> dict[str, str]:
    """Raw conversions of the key feed, pieces apart by a missing value; empty where the board sent none."""
    times: list[FloatArray] = []
    volts: list[FloatArray] = []
    left = MOST_RAW
    for piece in trace.close_ups:
        values = piece.volts.get("key_switch")
        if values is None or len(values) > left:
            continue
        left -= len(values)
        at_s = np.asarray(
            piece.start_s + piece.offset_s["key_switch"] + np.arange(len(values) + 1) * piece.period_s - start_s,
            dtype=np.float64,
        )
        times.append(at_s)
        volts.append(np.append(values, np.nan))
    if not times:
        return {}
    order = np.argsort(np.concatenate(times), kind="stable")
    return {"t": _packed(_us(np.concatenate(times)[order]), "<u4"), "v": _packed(_mv(np.concatenate(volts)[order]), "<i2")}


def _jumps(trace: Trace, judgement: Judgement) -> list[list[object]]:
    """(name, from, to) of each crank and loss, with room around it."""
    found: list[list[object]] = []
    several = len(judgement.cranks) > 1
    for number, crank in enumerate(judgement.cranks, start=1):
        found.append([f"START {number}" if several else "START", crank.start_s - 0.5, crank.end_s + 0.5])
    lost = losses(judgement)
    for number, loss in enumerate(lost, start=1):
        margin_s = max(0.3 * loss.duration_s, 0.002)
        found.append([f"loss {number}" if len(lost) > 1 else "loss", loss.start_s - margin_s, loss.end_s + margin_s])
        found.append([f"edge {number}" if len(lost) > 1 else "edge", loss.start_s - 0.003, loss.start_s + 0.003])
    return found


def _us(times_s: FloatArray) -> FloatArray:
    return np.clip(np.round(times_s * US), 0, 2**32 - 1)


def _mv(volts: FloatArray) -> FloatArray:
    return np.where(np.isfinite(volts), np.clip(np.round(volts * 1e3), -32_767, 32_767), MISSING_MV)


def _packed(values: FloatArray, kind: str) -> str:
    return base64.b64encode(zlib.compress(values.astype(kind).tobytes(), 9)).decode()
