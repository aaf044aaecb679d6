"""What the RP2040's wide codes (datasheet, erratum RP2040-E11) do to judged values on the nominal minimal 12 V build. Simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstcrank.analysis.uncertainty import of_voltage
from firstcrank.bench.converter import bench_calibration, drawn_converter

SPIKE_CODES = (512, 1536, 2560, 3584)  # RP2040 datasheet, erratum E11
MEAN_OF = 256


def bias_v(volts: np.ndarray) -> np.ndarray:
    """Mean of many conversions with the wide codes less the same without them, volts."""
    converter = drawn_converter(bench_calibration(12), np.random.default_rng(5))
    even = replace(converter, spikes=False)
    means = []
    for given in (converter, even):
        rng = np.random.default_rng(11)
        codes = np.array([given.codes("key_switch", np.full(MEAN_OF, v), 6e-6, rng).mean() for v in volts])
        means.append(converter.calibration.channel("key_switch").volts(codes))
    return np.asarray(means[0] - means[1])


def test_near_a_wide_code_a_value_moves_by_less_than_its_stated_uncertainty() -> None:
    line = bench_calibration(12).channel("key_switch")
    worst = {}
    for spike in SPIKE_CODES:
        around_v = line.volts(np.arange(spike - 40, spike + 40, 0.5))
        off_v = np.abs(bias_v(around_v))
        stated_v = np.array([2.0 * of_voltage(float(v), line.uncertainty, 16) for v in around_v])
        assert (off_v < stated_v).all()
        worst[spike] = float(off_v.max())
    assert max(worst.values()) > 0.01  # they are in the model at all
    assert max(worst.values()) < 0.03, worst
    print({code: f"{v * 1e3:.0f} mV" for code, v in worst.items()})


def test_at_the_modules_minimum_the_wide_codes_are_out_of_reach() -> None:
    assert float(np.abs(bias_v(np.linspace(6.95, 7.05, 40))).max()) < 0.025
