"""Close-ups of the feed's edges from their frames: pieces joined, codes as volts on the recording's time base."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firstcrank.calibration import Calibration
from firstcrank.trace import CloseUp, FloatArray
from firstcrank.tracefiles.bin_arrays import NS
from firstcrank.tracefiles.frames import Gathered
from firstcrank.wire_bodies import CloseUpHead


def close_ups(found: Gathered, first_index: int, calibration: Calibration | None) -> tuple[CloseUp, ...]:
    """Pieces of each edge joined; an edge with a piece missing is left out: its bins are still there.

    `first_index`: conversion index at the trace's time 0.
    """
    stream = found.stream or {}
    period_s = float(stream.get("conversion_ns", 0)) * NS
    if not found.close_ups or calibration is None or period_s <= 0:
        return ()
    roles = [str(entry["role"]) for entry in stream["channels"]]
    by_edge: dict[int, list[tuple[CloseUpHead, bytes]]] = {}
    for head, body in found.close_ups:
        by_edge.setdefault(head.edge, []).append((head, body))
    made: list[CloseUp] = []
    for pieces in by_edge.values():
        pieces.sort(key=lambda piece: piece[0].first_conversion)
        joined = [np.frombuffer(body, dtype="<u2") for _, body in pieces]
        at = pieces[0][0].first_conversion
        whole = pieces[-1][0].last and all(
            b[0].first_conversion == a[0].first_conversion + a[0].code_count for a, b in pairwise(pieces)
        )
        if not whole or any(head.channel_count != len(roles) for head, _ in pieces):
            continue
        made.append(_close_up(pieces[0][0], np.concatenate(joined), at, first_index, period_s, roles, calibration))
    return tuple(sorted(made, key=lambda c: c.edge_s))


def _close_up(
    head: CloseUpHead,
    raw: NDArray[np.uint16],
    at: int,
    first_index: int,
    period_s: float,
    roles: list[str],
    calibration: Calibration,
) -> CloseUp:
    count = len(roles)
    volts: dict[str, FloatArray] = {}
    offset_s: dict[str, float] = {}
    for i, role in enumerate(roles):
        skip = (i - at) % count
        volts[role] = calibration.channel(role).volts(raw[skip::count])
        offset_s[role] = skip * period_s
    return CloseUp(
        edge_s=(head.edge_conversion - first_index) * period_s,
        falling=bool(head.falling),
        start_s=(at - first_index) * period_s,
        period_s=count * period_s,
        volts=volts,
        offset_s=offset_s,
        filter_s=calibration.channel("key_switch").filter_s if "key_switch" in roles else 0.0,
    )
