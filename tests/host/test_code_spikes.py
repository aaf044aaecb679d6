"""What the RP2040's wide codes (datasheet, erratum RP2040-E11) leave in a judged value after the staircase. Simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank.analysis.uncertainty import of_voltage
from firstcrank.converters import CODES, CONVERTERS, as_given, evened
from firstcrank_sim.board.converter import SPIKE_CODES, SPIKE_WIDTHS, WIDTH_SPREAD, Converter, sim_calibration

MEAN_OF = 256
LINE = sim_calibration(12).channel("key_switch")


def errors_v(converter: Converter, volts: np.ndarray, corrected: bool = True) -> np.ndarray:
    """Reading less truth of means of many conversions."""
    line = LINE if corrected else replace(LINE, converter="")
    rng = np.random.default_rng(11)
    codes = np.array([converter.codes("key_switch", np.full(MEAN_OF, v), 6e-6, rng).mean() for v in volts])
    return np.asarray(line.volts(codes) - volts)


@pytest.mark.parametrize("noise_code", [0.5, 1.3])
@pytest.mark.parametrize("wider", [-WIDTH_SPREAD, 0.0, WIDTH_SPREAD])
def test_the_staircase_takes_the_wide_codes_out(noise_code: float, wider: float) -> None:
    """Over the whole range; what is left, wider codes than the mean board's and all, is the stated residual."""
    converter = Converter(sim_calibration(12), noise_code=noise_code, widths=tuple(w + wider for w in SPIKE_WIDTHS))
    volts = np.linspace(0.3, 17.5, 700)
    left, plain = errors_v(converter, volts), errors_v(converter, volts, corrected=False)
    lsb_v = LINE.gain_v_per_code
    stated_code = CONVERTERS["rp2040"].residual_code
    assert np.sqrt((plain**2).mean()) > 2.0 * lsb_v  # they are in the model
    assert np.sqrt((left**2).mean()) < stated_code * lsb_v
    assert np.abs(left).max() < 5.5 * lsb_v  # within a wide code nobody can tell


def test_near_a_wide_code_a_value_is_within_its_stated_uncertainty() -> None:
    converter = Converter(sim_calibration(12))
    for spike in SPIKE_CODES:
        around_v = LINE.volts(np.arange(spike - 40, spike + 40, 0.5))
        stated_v = np.array([2.0 * of_voltage(float(v), LINE.uncertainty, 16) for v in around_v])
        assert (np.abs(errors_v(converter, around_v)) < stated_v).all()


@given(st.floats(0.0, CODES - 2.0), st.floats(0.0, 1.0))
def test_the_staircase_rises_and_can_be_undone(code: float, more: float) -> None:
    """So a bin's mean lies between its lowest and its highest after it, too."""
    assert evened("rp2040", code + more) >= evened("rp2040", code)
    assert float(as_given("rp2040", evened("rp2040", code))) == pytest.approx(code, abs=1e-6)


def test_no_name_and_even_converters_are_left_alone() -> None:
    codes = np.arange(CODES)
    for name in ("", "rp2350", "mcp3208"):
        assert (evened(name, codes) == codes).all()
    assert evened("rp2040", 0) == 0
    assert evened("rp2040", CODES - 1) == CODES - 1
