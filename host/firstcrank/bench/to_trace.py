"""A simulated start as a Trace: through the input network, the converter and the fold, without the wire between."""

from __future__ import annotations

import numpy as np

from firstcrank.bench.converter import Converter
from firstcrank.bench.fold_many import fold_many
from firstcrank.bench.start import SimulatedStart
from firstcrank.calibration import Calibration, nominal_channel
from firstcrank.limits import shipped
from firstcrank.trace import Channel, KeyRuns, Trace

STEP_S = 24e-6
SETS = 32


def bench_calibration(system_v: int = 12) -> Calibration:
    """The nominal calibration of the simulated board: 100 k over 22 k (12 V) or 200 k over 20 k (24 V), 1 %, 4.7 nF."""
    top, bottom = (100e3, 22e3) if system_v == 12 else (200e3, 20e3)
    line = nominal_channel(top, bottom, 0.005, reference_tolerance_rel=0.005, filter_f=4.7e-9)
    roles = ("battery", "key_switch", "starter_coil", "heater_coil", "heater_return", "module_supply", "feed_source")
    return Calibration("nominal", dict.fromkeys(roles, line), notes=("simulated board",))


def to_trace(start: SimulatedStart, converter: Converter | None = None, step_s: float = STEP_S, sets: int = SETS) -> Trace:
    """Bins of `sets` conversions a channel, one every `step_s`. Synthetic, and says so in its origin."""
    converter = converter or Converter(bench_calibration(start.vehicle.system_v))
    limits = shipped(start.vehicle.system_v)
    rng = np.random.default_rng([start.seed, 7])
    bins = int(start.script.end_s / (step_s * sets))
    t = np.asarray(np.arange(bins * sets) * step_s, dtype=np.float64)
    roles = start.roles
    codes = np.stack([converter.codes(role, start.volts(role, t), step_s, rng) for role in roles], axis=1)
    key = roles.index("key_switch")
    key_line = converter.calibration.channel("key_switch")
    trigger_code = key_line.code(limits["module_minimum_v"])
    folded = fold_many(codes, sets, key, trigger_code)
    channels = {}
    for i, role in enumerate(roles):
        line = converter.calibration.channel(role)
        channels[role] = Channel(
            role,
            line.volts(folded.mean[:, i] / 16.0),
            line.volts(folded.lowest[:, i]),
            line.volts(folded.highest[:, i]),
            line.uncertainty,
            line.full_scale_v,
        )
    begin_s = np.asarray(np.arange(bins) * step_s * sets, dtype=np.float64)
    return Trace(
        start_s=begin_s,
        end_s=begin_s + step_s * sets,
        conversions=np.full(bins, sets, dtype=np.int64),
        gap_s=np.full(bins, step_s),
        channels=channels,
        runs=KeyRuns(float(key_line.volts(trigger_code)), folded.longest, folded.head, folded.tail),
        origin={"synthetic": True, "scenario": start.name, "seed": start.seed},
    )


def bench_converter(start: SimulatedStart) -> Converter:
    """The converter of the simulated board for this vehicle's voltage."""
    return Converter(bench_calibration(start.vehicle.system_v))
