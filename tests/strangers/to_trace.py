"""A board's bins as the product's value type for traces, and the bins that holes and torn files take away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstcrank.trace import Channel, Hole, KeyRuns, Trace, Uncertainty
from tests.strangers.board import CONVERSION_S, Codes
from tests.strangers.converter import TOP
from tests.strangers.plan import Plan


def taken_away(p: Plan, codes: Codes, begin_s: float) -> Codes:
    """Codes without the bins of a hole and those behind a torn end."""
    at = begin_s + codes.number * codes.bin_s
    keep = np.ones(len(at), dtype=bool)
    if "hole" in p.record.tricks:
        a, b = p.record.tricks["hole"]
        keep &= (at + codes.bin_s <= a) | (at >= b)
    if "torn" in p.record.tricks:
        keep &= at + codes.bin_s <= p.record.tricks["torn"]
    if keep.all():
        return codes
    names = ("mean16", "lowest", "highest", "longest", "head", "tail", "number")
    return replace(codes, **{name: getattr(codes, name)[keep] for name in names})


def trace(p: Plan, codes: Codes) -> Trace:
    """The trace, uncertainties as the calibration states them."""
    start = codes.number * codes.bin_s
    start = start - start[0]
    end = start + codes.bin_s
    jumps = np.flatnonzero(np.diff(codes.number) > 1)
    holes = tuple(Hole(float(end[i]), float(start[i + 1]), "bytes were lost on the way") for i in jumps)
    end = np.minimum(end, np.concatenate((start[1:], [np.inf])))
    channels = {}
    for c, role in enumerate(codes.roles):
        line = codes.lines[role]
        u = Uncertainty(line.u_gain_rel, line.u_offset_v, line.u_shared_rel, line.noise_v)
        channels[role] = Channel(
            role,
            line.volts(codes.mean16[:, c] / 16.0),
            line.volts(codes.lowest[:, c]),
            line.volts(codes.highest[:, c]),
            u,
            float(line.volts(np.array(float(TOP)))),
        )
    runs = None
    if "key_switch" in codes.roles:
        trigger_v = float(codes.lines["key_switch"].volts(np.array(float(codes.trigger))))
        runs = KeyRuns(trigger_v, codes.longest, codes.head, codes.tail)
    n = len(start)
    kind = "switch test" if p.labels.get("declared") else "start"
    return Trace(
        start_s=start,
        end_s=end,
        conversions=np.full(n, codes.count, dtype=np.int64),
        gap_s=np.full(n, len(codes.roles) * CONVERSION_S),
        channels=channels,
        runs=runs,
        holes=holes,
        complete="torn" not in p.record.tricks,
        origin={"synthetic": True, "file": f"stranger {p.seed}"},
        kind=kind,
    )
