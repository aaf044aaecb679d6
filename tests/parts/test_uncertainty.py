"""Standard uncertainties of one reading and of a difference, each term alone and all together.

JCGM 100:2008 (GUM), 5.1.2: independent parts add as squares; 5.2: what two readings share enters with its sign.
"""

from __future__ import annotations

from dataclasses import fields, replace
from math import hypot, sqrt

import pytest

from firstcrank.analysis.uncertainty import of_difference, of_voltage
from firstcrank.trace import Uncertainty

NONE = Uncertainty(0.0, 0.0)


@pytest.mark.parametrize(
    ("term", "u_v"),
    [
        ({"gain_rel": 0.01}, 0.1),
        ({"gain_rel": 0.01, "pivot_v": 4.0}, 0.06),
        ({"offset_v": 0.02}, 0.02),
        ({"shared_gain_rel": 0.01}, 0.1),
        ({"steps_v": 0.03}, 0.03),
        ({"drift_rel": 0.01}, 0.1),
        ({"shared_drift_rel": 0.02}, 0.2),
        ({"leakage_v": 0.04}, 0.04),
        ({"settling_v": 0.05}, 0.05),
        ({"shared_offset_v": 0.06}, 0.06),
        ({"shared_slope_rel": 0.01, "shared_pivot_v": 4.0}, 0.06),
        ({"noise_v": 0.2}, 0.1),  # of four conversions
    ],
)
def test_each_term_alone_at_ten_volts(term: dict[str, float], u_v: float) -> None:
    assert of_voltage(10.0, replace(NONE, **term), 4.0) == pytest.approx(u_v)


def test_terms_add_as_squares() -> None:
    both = Uncertainty(0.003, 0.04)
    assert of_voltage(10.0, both) == pytest.approx(hypot(0.03, 0.04))
    assert of_voltage(10.0, replace(NONE, noise_v=0.2), 0.0) == pytest.approx(0.2), "never less than one conversion"
    assert {f.name for f in fields(Uncertainty)} >= {"gain_rel", "offset_v", "noise_v"}


def test_what_two_leads_share_of_reading_enters_with_their_difference() -> None:
    shared = replace(NONE, shared_gain_rel=0.01)
    assert of_difference(10.0, shared, 8.0, shared) == pytest.approx(0.02)
    assert of_difference(10.0, shared, 10.0, shared) == 0.0
    assert of_difference(10.0, replace(shared, shared_drift_rel=0.02), 8.0, shared) == pytest.approx(hypot(0.02, 0.04))


def test_own_parts_of_two_leads_add() -> None:
    a, b = Uncertainty(0.0, 0.03), Uncertainty(0.0, 0.04)
    assert of_difference(10.0, a, 8.0, b) == pytest.approx(0.05)
    assert of_difference(10.0, replace(a, noise_v=0.2), 8.0, b, 4.0) == pytest.approx(sqrt(0.05**2 + 0.1**2))


def test_an_offset_that_both_share_cancels() -> None:
    a = replace(NONE, shared_offset_v=0.05)
    assert of_difference(10.0, a, 8.0, a) == pytest.approx(0.0, abs=1e-12)
    slope = replace(NONE, shared_slope_rel=0.01, shared_pivot_v=3.0)
    assert of_difference(10.0, slope, 8.0, slope) == pytest.approx(0.02)
    apart = replace(slope, shared_pivot_v=9.0)
    assert of_difference(10.0, slope, 8.0, apart) == pytest.approx(hypot(0.07, 0.01)), "calibrated by other points"


def test_one_lead_at_two_times_keeps_what_changes_between_them() -> None:
    u = Uncertainty(0.01, 0.5, 0.02, leakage_v=0.5, shared_slope_rel=0.03, drift_rel=0.04, steps_v=0.05, settling_v=0.06)
    apart_v = 2.0
    expected = sqrt((0.01**2 + 0.04**2 + 0.03**2) * apart_v**2 + 2 * 0.05**2 + 0.06**2 + (0.02 * apart_v) ** 2)
    assert of_difference(10.0, u, 8.0, u, same_lead=True) == pytest.approx(expected)
    noisy = replace(u, noise_v=0.2)
    assert of_difference(10.0, noisy, 8.0, noisy, 4.0, same_lead=True) == pytest.approx(sqrt(expected**2 + 2 * 0.1**2))
