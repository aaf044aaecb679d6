"""Two cranks side by side: the grid about the starter, the lowest of each step, what lies outside of a recording."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.compare import Comparison, _lowest, compare
from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import Judgement
from firstcrank.trace import FloatArray, Trace
from tests.aim.maker import Crank, Made, Setup

from .plain_trace import flat, plain_trace, put

STEP_S = 0.005


def read(trace: Trace, *at_s: float) -> list[float]:
    return [float(v) for v in _lowest(trace, "battery", np.asarray(at_s, dtype=np.float64))]


def test_the_lowest_of_each_step_of_5_ms() -> None:
    """Bins of 2.5 ms: two make a step."""
    mean: FloatArray = flat(0.02, 12.0, 0.0025)
    trace = plain_trace(
        {"battery": mean}, lowest={"battery": np.asarray([8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0])}, bin_s=0.0025
    )
    assert read(trace, 0.0, 0.005, 0.01, 0.015) == [7.0, 5.0, 3.0, 1.0]
    assert read(trace, 0.001) == [6.0]  # a bin of which a part lies inside counts
    assert np.isnan(read(trace, -0.006, 0.021)).all()
    assert read(trace, -0.004, 0.018) == [8.0, 1.0]


def test_where_nothing_was_recorded_nothing_is_shown() -> None:
    whole = plain_trace({"battery": flat(0.04, 12.0, 0.0025)}, bin_s=0.0025)
    keep = np.ones(16, dtype=bool)
    keep[4:8] = False  # 10 to 20 ms
    battery = whole.channels["battery"]
    torn = Trace(
        whole.start_s[keep],
        whole.end_s[keep],
        whole.conversions[keep],
        whole.gap_s[keep],
        {
            "battery": type(battery)(
                "battery", battery.mean_v[keep], battery.mean_v[keep], battery.mean_v[keep], battery.uncertainty
            )
        },
    )
    seen = read(torn, 0.0, 0.005, 0.0105, 0.0149, 0.02, 0.03)
    assert [not np.isnan(v) for v in seen] == [True, True, False, False, True, True]


def judged(setup: Setup) -> tuple[Trace, Judgement]:
    trace = Made(setup).bins()
    return trace, judge(trace, shipped(12), Context(cranked_with_key=True, module_plugged_in=True))


def test_both_are_aligned_at_the_starter_and_the_wanted_crank_is_taken() -> None:
    one = judged(Setup())
    two = judged(Setup(cranks=(Crank(2.0, 2.0), Crank(6.0, 2.0, sag_v=4.0)), end_s=11.0))
    compared = compare(one, two, (1, 2))
    assert compared.at_s[[0, -1]] == pytest.approx([-2.0, 6.0 - STEP_S])
    assert np.diff(compared.at_s) == pytest.approx(STEP_S)
    assert set(compared.before_v) == set(compared.after_v) == {"battery", "key_switch", "starter_coil"}
    for side in (compared.before_v, compared.after_v):
        coil_v = side["starter_coil"]
        assert np.nanmax(coil_v[compared.at_s < -0.006]) < 1.0
        assert np.nanmin(coil_v[(compared.at_s > 0.0) & (compared.at_s < 1.9)]) > 4.0
    inside = (compared.at_s > 0.5) & (compared.at_s < 1.9)
    assert float(np.nanmean(compared.difference_v("battery")[inside])) == pytest.approx(-1.7, abs=0.1)  # 4.0 V less 2.3 V
    assert float(np.nanmean(compare(one, two).difference_v("battery")[inside])) == pytest.approx(0.0, abs=0.1)
    assert np.isnan(compared.before_v["battery"][-100:]).all()  # 5.5 s behind START the first recording has ended


def test_only_leads_of_both_are_compared() -> None:
    with_lead, without = judged(Setup()), judged(Setup(lead=False))
    assert set(compare(with_lead, without).before_v) == {"battery", "key_switch"}
    assert set(compare(without, with_lead).after_v) == {"battery", "key_switch"}


def test_a_crank_that_is_not_there_cannot_be_compared() -> None:
    one = judged(Setup())
    with pytest.raises(ValueError, match="a start without crank 2 cannot be compared"):
        compare(one, one, (1, 2))
    with pytest.raises(ValueError, match="a start without crank 2 cannot be compared"):
        compare(one, one, (2, 1))


def test_a_difference_is_after_less_before() -> None:
    sides = ({"battery": np.asarray([12.0, np.nan])}, {"battery": put(np.asarray([10.0, 10.0]), 9.0, 1, 2)})
    difference_v = Comparison(np.zeros(2), *sides).difference_v("battery")
    assert difference_v[0] == -2.0
    assert np.isnan(difference_v[1])
