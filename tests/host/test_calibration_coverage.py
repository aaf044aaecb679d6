"""The stated 95 % covers: 200 builds of the table that `python -m tests.host.calibration_coverage` prints for a thousand."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.uncertainty import of_difference, of_voltage
from firstcrank.calibrating.points import Meter
from tests.host.calibration_coverage import METERS, MODELS, POINT_SERIES, READ, Build, calibrated, measure

BUILDS = 200
LOW, HIGH = 0.93, 0.998  # 200 builds, two leads: 95 % of 400 would come out at 93 % or more in 95 runs of 100


@pytest.mark.parametrize("model", list(MODELS))
@pytest.mark.parametrize(
    ("meter", "known_v"), [(METERS[0], POINT_SERIES[0]), (METERS[1], POINT_SERIES[1]), (METERS[2], POINT_SERIES[0])]
)
def test_the_stated_uncertainty_covers_neither_too_little_nor_too_much(
    model: str, meter: Meter, known_v: tuple[float, ...]
) -> None:
    row = measure(model, meter, known_v, BUILDS, seed=7)
    assert row.refused <= BUILDS * 0.03
    for what, share in row.share.items():
        high = 1.0 if what == "3 V" else HIGH  # stated for the worst lead before it: see the next test
        assert LOW <= share <= high, (what, share, row.u_v[what])


@pytest.mark.parametrize("model", list(MODELS))
def test_three_volts_behind_a_charged_battery_are_covered_and_no_better(model: str) -> None:
    """The cell of the table that is above 99 %: with the lead before at 14.4 V every time, for which settling is stated, 93 to 99 %."""
    inside = []
    for number in range(500):
        rng = np.random.default_rng([0, number, *model.encode()])
        build = Build(rng, MODELS[model](rng))
        lines = calibrated(build, METERS[0], POINT_SERIES[1])
        if lines is None:
            continue
        build.moved_on()
        key = lines["key_switch"]
        error_v = float(key.volts(build.read(np.array([14.4, 3.0, 0.0]))[1])) - 3.0
        inside.append(abs(error_v) <= 2.0 * of_voltage(3.0, key.uncertainty, READ))
    assert LOW <= float(np.mean(inside)) <= 0.99


def test_the_bounds_would_notice(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without drift, leakage, settling and steps, as before, it does not cover; doubled, it is too wide."""
    from tests.host import calibration_coverage

    for factor, low_is_seen in ((0.5, True), (2.0, False)):
        monkeypatch.setattr(calibration_coverage, "of_voltage", lambda *a, f=factor: f * of_voltage(*a))
        monkeypatch.setattr(calibration_coverage, "of_difference", lambda *a, f=factor: f * of_difference(*a))
        least = min(measure("simulator", METERS[0], POINT_SERIES[0], 100).share.values())
        assert least < LOW if low_is_seen else least > HIGH
