"""A simulated start as a Trace: through the input network, the converter and the fold, without the wire between."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np

from firstcrank.limits import shipped
from firstcrank.trace import Channel, Hole, KeyRuns, Trace
from firstcrank_sim.board.converter import Converter, sim_calibration
from firstcrank_sim.board.sampling import CONVERSION_S, sample
from firstcrank_sim.vehicle.truth import Truth

BIN_S = 768e-6


class OfVoltage(Protocol):
    """Whatever says for which system it is: 12 or 24."""

    @property
    def system_v(self) -> int: ...


def sim_converter(truth: OfVoltage) -> Converter:
    """The converter of the simulated board for this vehicle's voltage."""
    return Converter(sim_calibration(truth.system_v))


def to_trace(
    truth: Truth,
    converter: Converter | None = None,
    bin_s: float = BIN_S,
    conversion_s: float = CONVERSION_S,
    every: bool = False,
) -> Trace:
    """Bins of about `bin_s` from a converter that makes one conversion every `conversion_s`, round robin over the leads.

    Bins in which anything steps are converted one by one; quiet ones by `sampling`'s short cut unless `every` is set.
    Synthetic, and says so in its origin. The same truth, converter and seed give the same trace.
    """
    converter = converter or sim_converter(truth)
    limits = shipped(truth.system_v)
    line = converter.calibration.channel("key_switch")
    trigger_code = line.code(limits["module_minimum_v"])
    bins = sample(truth, converter, trigger_code, np.random.default_rng([truth.seed, 7]), bin_s, conversion_s, every)
    span_s = bins.samples_per_bin * bins.step_s
    count = len(bins.folded.longest)
    begin_s = np.asarray(np.arange(count) * span_s, dtype=np.float64)
    kept = np.ones(count, dtype=bool)
    for hole in truth.plan.holes:
        kept &= (begin_s + span_s <= hole.start_s) | (begin_s >= hole.end_s)
    channels = {}
    for i, role in enumerate(truth.roles):
        c = converter.calibration.channel(role)
        folded = bins.folded
        channels[role] = Channel(
            role,
            c.volts(folded.mean[kept, i] / 16.0),
            c.volts(folded.lowest[kept, i]),
            c.volts(folded.highest[kept, i]),
            c.uncertainty,
            c.full_scale_v,
        )
    folded = bins.folded
    total = int(kept.sum())
    return Trace(
        start_s=begin_s[kept],
        end_s=begin_s[kept] + span_s,
        conversions=np.full(total, bins.samples_per_bin, dtype=np.int64),
        gap_s=np.full(total, bins.step_s),
        channels=channels,
        runs=KeyRuns(float(line.volts(trigger_code)), folded.longest[kept], folded.head[kept], folded.tail[kept]),
        holes=tuple(_whole_bins(hole, span_s) for hole in truth.plan.holes),
        origin={"synthetic": True, "scenario": truth.name, "seed": truth.seed},
    )


def _whole_bins(hole: Hole, span_s: float) -> Hole:
    """The hole widened to the bins that fell into it."""
    first, last = int(hole.start_s / span_s), int(np.ceil(hole.end_s / span_s))
    return replace(hole, start_s=first * span_s, end_s=last * span_s)
