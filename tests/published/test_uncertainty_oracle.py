"""Uncertainty of voltages and differences against PyPI `uncertainties`, which propagates with full correlation."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from firstcrank.analysis import uncertainty
from firstcrank.calibration import nominal_channel
from firstcrank.trace import Uncertainty

VOLTS = st.floats(0.5, 30.0)
SHARES = st.floats(1e-5, 0.02)
OFFSETS = st.floats(1e-5, 0.1)


@given(VOLTS, VOLTS, SHARES, SHARES, OFFSETS, OFFSETS, SHARES, st.floats(1e-5, 0.05), st.integers(1, 1000))
def test_difference_of_two_leads_with_a_shared_reference(
    a_v: float, b_v: float, gain_a: float, gain_b: float, offset_a: float, offset_b: float, shared: float, noise: float, n: int
) -> None:
    reference = ufloat(1.0, shared)
    a = a_v * ufloat(1.0, gain_a) * reference + ufloat(0.0, offset_a) + ufloat(0.0, noise / n**0.5)
    b = b_v * ufloat(1.0, gain_b) * reference + ufloat(0.0, offset_b) + ufloat(0.0, noise / n**0.5)
    ours = uncertainty.of_difference(
        a_v, Uncertainty(gain_a, offset_a, shared, noise), b_v, Uncertainty(gain_b, offset_b, shared, noise), n
    )
    assert ours == pytest.approx((a - b).std_dev, rel=1e-9)


@given(VOLTS, SHARES, OFFSETS, SHARES, st.floats(1e-5, 0.05), st.integers(1, 1000))
def test_voltage_of_one_lead(volts: float, gain: float, offset: float, shared: float, noise: float, n: int) -> None:
    value = volts * ufloat(1.0, gain) * ufloat(1.0, shared) + ufloat(0.0, offset) + ufloat(0.0, noise / n**0.5)
    ours = uncertainty.of_voltage(volts, Uncertainty(gain, offset, shared, noise), n)
    assert ours == pytest.approx(value.std_dev, rel=1e-9)


@pytest.mark.parametrize(("r1", "r2"), [(100e3, 22e3), (47e3, 10e3), (200e3, 20e3)])
def test_divider_ratio(r1: float, r2: float) -> None:
    """k = (R1 + R2) / R2 with 1 % resistors, rectangular: u = a / sqrt(3) (JCGM 100 4.3.7)."""
    top, bottom = ufloat(r1, 0.01 * r1 / 3**0.5), ufloat(r2, 0.01 * r2 / 3**0.5)
    k = (top + bottom) / bottom
    ours = nominal_channel(r1, r2, 0.01).uncertainty.gain_rel
    assert ours == pytest.approx(k.std_dev / k.nominal_value, rel=1e-6)


def test_100k_over_22k_worked_out_once() -> None:
    """u(k)/k = 0.66926 % for 100 k over 22 k at 1 % rectangular: recomputed with PyPI uncertainties."""
    assert nominal_channel(100e3, 22e3, 0.01).uncertainty.gain_rel == pytest.approx(0.0066926, rel=1e-4)


@pytest.mark.parametrize("volts", [-2.0, -0.5, 0.0, 0.2, 1.0, 4.0])
def test_a_lifted_input_is_never_stated_better_than_it_is(volts: float) -> None:
    """15 k over 62 k, lifted by 22 k to the reference, 1 %: gain and offset are stated as if independent, which is cautious."""
    nominal = nominal_channel(15e3, 62e3, 0.01, r_lift_ohm=22e3)
    code = (volts - nominal.offset_v) / nominal.gain_v_per_code
    top, bottom, lift = (ufloat(r, 0.01 * r / 3**0.5) for r in (15e3, 62e3, 22e3))
    reference = ufloat(3.3, 0.01 * 3.3 / 3**0.5)
    true = reference * ((1 + top / bottom + top / lift) * code / 4096 - top / lift)
    u = nominal.uncertainty
    converter_v = 17.0 * nominal.gain_v_per_code / 3**0.5, 0.8 * nominal.gain_v_per_code
    terms_v = u.leakage_v, u.settling_v, volts * u.drift_rel, volts * u.shared_drift_rel
    stated = uncertainty.of_voltage(volts, u, 10**9)
    exact = sum(v**2 for v in (true.std_dev, *converter_v, *terms_v)) ** 0.5
    assert true.nominal_value == pytest.approx(volts, abs=1e-9)
    assert exact <= stated * 1.03
    assert stated < 2.5 * exact


SMALL = st.floats(0.0, 0.02)
PIVOTS = st.floats(0.0, 12.0)


@given(
    VOLTS,
    VOLTS,
    st.lists(SMALL, min_size=10, max_size=10),
    st.lists(SMALL, min_size=6, max_size=6),
    PIVOTS,
    PIVOTS,
    st.booleans(),
)
def test_every_term_of_a_difference(
    a_v: float, b_v: float, own: list[float], shared: list[float], pivot_v: float, shared_pivot_v: float, same_points: bool
) -> None:
    """What is common to both leads is one variable there, what is each lead's own is two; `same_points`: calibrated together."""

    def lead(five: list[float], pivot_of_shared_v: float) -> Uncertainty:
        gain, offset, steps, drift, leakage = five
        return Uncertainty(
            gain,
            offset,
            shared[0],
            0.0,
            steps_v=steps,
            drift_rel=drift,
            shared_drift_rel=shared[1],
            leakage_v=leakage,
            settling_v=shared[4],
            shared_offset_v=shared[2],
            shared_slope_rel=shared[3],
            pivot_v=pivot_v,
            shared_pivot_v=pivot_of_shared_v,
        )

    a, b = lead(own[:5], shared_pivot_v), lead(own[5:], shared_pivot_v if same_points else shared_pivot_v + 3.0)
    reference, drift, common = ufloat(0, 1), ufloat(0, 1), (ufloat(0, 1), ufloat(0, 1))
    sums = []
    for volts, u in ((a_v, a), (b_v, b)):
        offset, slope = common if same_points else (ufloat(0, 1), ufloat(0, 1))
        sums.append(
            u.gain_rel * (volts - u.pivot_v) * ufloat(0, 1)
            + u.drift_rel * volts * ufloat(0, 1)
            + sum(v * ufloat(0, 1) for v in (u.offset_v, u.steps_v, u.leakage_v, u.settling_v))
            + u.shared_gain_rel * volts * reference
            + u.shared_drift_rel * volts * drift
            + u.shared_offset_v * offset
            + u.shared_slope_rel * (volts - u.shared_pivot_v) * slope
        )
        assert uncertainty.of_voltage(volts, u) == pytest.approx(sums[-1].std_dev, rel=1e-9, abs=1e-12)
    assert uncertainty.of_difference(a_v, a, b_v, b) == pytest.approx((sums[0] - sums[1]).std_dev, rel=1e-7, abs=1e-9)
