"""The input designer against worked figures, the table of IEC 60063, PyPI uncertainties, and ngspice transients of the same network."""

from __future__ import annotations

import math

import pytest
from uncertainties import ufloat

from firstcrank.clamps import BAV199, SCHOTTKY_PAIR, SILICON_PAIR, Clamp, Sources
from firstcrank.divider.budget import Parts, budget, worst_ratio
from firstcrank.divider.converters import Converter
from firstcrank.divider.network import SETTLE_TAUS, Network
from firstcrank.divider.propose import Requirements, propose

KNEE = Clamp("knee at 0.3 V", 1e-140, 0.0367, 0.0, 0.2, 0.2, 0.0, 0.0, 0.0, Sources(*["for worked examples"] * 5))
CHECKED = Network(100e3, 22e3, 10e-9, clamp=KNEE)
NO_ERRORS = Converter("none", 0.0, 0.0, 0.0, math.inf, 0.0, 0.0, 0.0, (), "for worked examples")


def bare(tolerance: float, reference_rel: float) -> Parts:
    """Parts off by their tolerance alone: nothing drifts, the converter is perfect."""
    return Parts(tolerance, reference_rel, ppm_per_k=0.0, reference_drift_rel=0.0, reference_ppm_per_k=0.0, converter=NO_ERRORS)


def test_worked_example_100k_over_22k() -> None:
    """Recomputed with PyPI uncertainties: ratio 5.545455, full scale 18.300 V, Rth 18.0328 k, u 80.31 mV at 12 V."""
    assert CHECKED.ratio == pytest.approx(5.545455, rel=1e-6)
    assert CHECKED.full_scale_v == pytest.approx(18.300, abs=5e-4)
    assert CHECKED.source_ohm == pytest.approx(18032.8, abs=0.1)
    resistors = bare(0.01, 0.0)
    steps_v = CHECKED.step_v / math.sqrt(12.0)
    assert math.sqrt(budget(CHECKED, resistors, 12.0).u_v ** 2 - steps_v**2) == pytest.approx(80.31e-3, rel=1e-3)
    low, high = worst_ratio(CHECKED, 0.01)
    assert (low - 1.0, high - 1.0) == pytest.approx((-0.016231, 0.016559), abs=2e-6)


def test_loading_by_100k() -> None:
    """18.03 k against 100 k reads 15.28 % low: V-calc of the same example."""
    assert CHECKED.load_share(100e3) == pytest.approx(0.1528, abs=1e-4)


def test_steps() -> None:
    """3.3 V / 4096 = 0.80566 mV, times the ratio 4.4678 mV, / sqrt(12) 1.2897 mV."""
    assert CHECKED.step_v == pytest.approx(4.4678e-3, rel=1e-4)
    assert CHECKED.step_v / math.sqrt(12) == pytest.approx(1.2897e-3, rel=1e-4)


def test_settling_and_corner() -> None:
    """ln(2^13) = 9.01 time constants to half a step of 12 bits; with 10 nF tau 0.18033 ms, corner 882.59 Hz, 1.625 ms."""
    assert pytest.approx(9.01, abs=0.005) == SETTLE_TAUS
    assert CHECKED.tau_s == pytest.approx(0.18033e-3, rel=1e-4)
    assert CHECKED.corner_hz == pytest.approx(882.59, rel=1e-4)
    assert CHECKED.settling_s() == pytest.approx(1.625e-3, rel=1e-3)
    large = Network(100e3, 22e3, 100e-9)
    assert (large.corner_hz, large.settling_s()) == pytest.approx((88.259, 16.249e-3), rel=1e-3)


def test_shortest_dropout_of_18k_and_10n_is_64_us() -> None:
    """tau ln(10/7): the closed form of an RC discharge."""
    assert CHECKED.shortest_dropout_s(10.0, 7.0) == pytest.approx(64.3e-6, rel=1e-2)


# Net clamp current (V - 3.6) / R1 - 3.6 / R2 of the same divider, from the closed form.
@pytest.mark.parametrize(
    ("clip_v", "milliamps"), [(24.0, 0.040), (35.0, 0.150), (101.0, 0.810), (-14.0, -0.123), (-150.0, -1.48)]
)
def test_clamp_current(clip_v: float, milliamps: float) -> None:
    assert CHECKED.clamp_a(clip_v) * 1e3 == pytest.approx(milliamps, abs=6e-3)


@pytest.mark.parametrize(("top", "bottom", "tolerance"), [(47e3, 10e3, 0.01), (33e3, 6.8e3, 0.001), (100e3, 22e3, 0.05)])
def test_budget_against_uncertainties(top: float, bottom: float, tolerance: float) -> None:
    r1, r2 = (ufloat(r, r * tolerance / 3**0.5) for r in (top, bottom))
    clip_v = 12.0
    reading = clip_v * bottom / (top + bottom) * ((r1 + r2) / r2) * ufloat(1.0, 0.01 / 3**0.5)
    ours = budget(Network(top, bottom, clamp=None), bare(tolerance, 0.01), clip_v)
    assert math.sqrt(ours.u_v**2 - (Network(top, bottom).step_v ** 2) / 12) == pytest.approx(reading.std_dev, rel=1e-3)


E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)  # IEC 60063:2015 table 1
E12 = E24[::2]


@pytest.mark.parametrize(("series", "allowed"), [("E12", E12), ("E24", E24)])
def test_proposals_use_preferred_values(series: str, allowed: tuple[int, ...]) -> None:
    """Every resistor proposed is a value of the series asked for, by IEC 60063's table and not by the library that made it."""
    for proposal in propose(Requirements(series=series)):
        for ohm in (*proposal.network.parts_ohm, proposal.network.r_bottom_ohm):
            assert round(ohm / 10 ** (math.floor(math.log10(ohm)) - 1), 6) in allowed


# Highest forward voltages of the data sheets, volts at amperes. BAV199: Infineon 2004 and NXP 2001 (public texts).
SHEETS = [
    (BAV199, {1e-3: 0.9, 10e-3: 1.0, 50e-3: 1.1, 150e-3: 1.25}),
    (SILICON_PAIR, {10e-3: 1.0}),  # from memory
    (SCHOTTKY_PAIR, {0.1e-3: 0.24, 1e-3: 0.32, 10e-3: 0.40, 30e-3: 0.50}),  # from memory
]


@pytest.mark.parametrize(("clamp", "points"), SHEETS, ids=lambda x: getattr(x, "name", ""))
def test_the_clamps_forward_curve_passes_the_data_sheets_points(clamp: Clamp, points: dict[float, float]) -> None:
    for amperes, volts in points.items():
        assert clamp.forward_v(amperes) == pytest.approx(volts, abs=0.025)
        assert clamp.forward_a(clamp.forward_v(amperes)) == pytest.approx(amperes, rel=1e-6)


def test_leakage_never_exceeds_the_data_sheets_hot_value() -> None:
    """BAV199: 5 nA at 25 degC, 80 nA at 150 degC (Infineon 2004)."""
    assert BAV199.leaks_a(25.0) == pytest.approx(5e-9)
    assert BAV199.leaks_a(150.0) == pytest.approx(80e-9)
    assert BAV199.net_leakage_a(0.0, 3.3, 25.0) == pytest.approx((0.0, 5e-9), abs=1e-15)


@pytest.mark.parametrize("clip_v", [-2.0, 0.0, 1.0, 3.0])
def test_a_lifted_inputs_budget_against_uncertainties(clip_v: float) -> None:
    """Three resistors and the reference, propagated with PyPI uncertainties; the line that reads it is the nominal one."""
    n = Network(15e3, 62e3, 10e-9, 0.0, 22e3, clamp=None)
    r1, r2, r3 = (ufloat(r, r * 0.01 / 3**0.5) for r in (15e3, 62e3, 22e3))
    reference = ufloat(3.3, 0.033 / 3**0.5)
    node = (clip_v / r1 + reference / r3) / (1 / r1 + 1 / r2 + 1 / r3)
    reading = (node / reference * 3.3 - n.node_at_zero_v) * n.ratio
    ours = budget(n, bare(0.01, 0.01), clip_v)
    assert math.sqrt(ours.u_v**2 - n.step_v**2 / 12) == pytest.approx(reading.std_dev, rel=1e-3)
