"""Cranks by the starter lead, on traces written bin by bin: live or not, joined or not, where the edges lie, what the battery did."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.cranks import CrankInterval, Cranks, coil_live, find_cranks
from firstcrank.model.judgement import Border
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import FloatArray

from .plain_trace import BIN_S, flat, plain_trace, put

TH = thresholds_for(12).crank
FALL, BACK = 512, 1024


def found(battery_v: FloatArray, *live: tuple[int, int], system_v: int = 12) -> Cranks:
    coil_v = np.zeros(len(battery_v))
    for first, past in live:
        coil_v = put(coil_v, 10.0, first, past)
    return find_cranks(plain_trace({"battery": battery_v, "starter_coil": coil_v}), thresholds_for(system_v).crank)


def only(cranks: Cranks) -> CrankInterval:
    (interval,) = cranks.intervals
    return interval


@pytest.mark.parametrize(
    ("system_v", "battery_v", "least_v"),
    [(12, 7.0, 3.0), (12, 10.0, 4.0), (12, 14.0, 4.8), (24, 14.0, 6.0), (24, 20.0, 8.0), (24, 28.0, 9.6)],
)
def test_the_lead_is_live_above_3_v_and_above_40_percent_of_the_battery(
    system_v: int, battery_v: float, least_v: float
) -> None:
    coil_v = np.asarray([0.0, least_v - 0.001, least_v + 0.001, battery_v])
    trace = plain_trace({"battery": np.full(4, battery_v), "starter_coil": coil_v})
    assert coil_live(trace, thresholds_for(system_v).crank).tolist() == [False, False, True, True]


def test_edges_lie_within_the_bins_beside_them() -> None:
    interval = only(found(put(flat(4.0, 12.5), 10.0, FALL + 3, BACK), (FALL, BACK)))
    assert interval.start == Border((FALL - 1) * BIN_S, (FALL + 1) * BIN_S, "the starter lead goes live")
    assert interval.end == Border((BACK - 1) * BIN_S, (BACK + 1) * BIN_S, "the starter lead goes dead")
    assert (interval.start_s, interval.end_s) == ((FALL + 1) * BIN_S, (BACK - 1) * BIN_S)
    assert (interval.sag_s, interval.sag_v, interval.by_lead) == ((FALL + 3) * BIN_S, 2.5, True)


def test_edges_at_the_ends_of_the_recording() -> None:
    calm = flat(2.0, 12.5)
    interval = only(found(calm, (1, 1024)))
    assert interval.start.early_s == 0.0
    assert (interval.end.early_s, interval.end.late_s) == (1023 * BIN_S, 2.0)
    assert only(found(calm, (500, 1023))).end == Border(1022 * BIN_S, 2.0, "the starter lead goes dead")


def test_a_lead_live_from_the_first_bin_on_began_no_crank() -> None:
    calm = flat(2.0, 12.5)
    for past, always in ((513, True), (512, False)):  # of 1024: more than half
        cranks = found(calm, (0, past))
        assert (cranks.intervals, cranks.lead_always_live) == ((), always)
    assert found(calm, (1, 1024)).lead_always_live is False


def test_breaks_shorter_than_200_ms_are_chatter() -> None:
    calm = flat(4.0, 12.5)
    assert only(found(calm, (FALL, 800), (902, BACK))).end.early_s == (BACK - 1) * BIN_S  # 102 bins, 199 ms
    assert len(found(calm, (FALL, 800), (903, BACK)).intervals) == 2


def test_pulses_shorter_than_50_ms_are_no_crank() -> None:
    calm = flat(4.0, 12.5)
    assert len(found(calm, (FALL, FALL + 26)).intervals) == 1  # 50.8 ms
    assert len(found(calm, (FALL, FALL + 25)).intervals) == 0


@pytest.mark.parametrize(("sag_v", "seen"), [(0.26, True), (0.24, False)])
def test_the_sag_begins_a_quarter_of_a_volt_down(sag_v: float, seen: bool) -> None:
    interval = only(found(put(flat(4.0, 12.5), 12.5 - sag_v, FALL + 10, BACK), (FALL, BACK)))
    assert interval.sag_s == ((FALL + 10) * BIN_S if seen else None)
    assert interval.sag_v == pytest.approx(sag_v)


def test_the_level_is_the_median_of_the_last_300_ms() -> None:
    """153 bins: 77 of them are the most."""
    sag = put(flat(4.0, 12.5), 10.0, FALL, BACK)
    assert only(found(put(sag, 12.0, FALL - 76, FALL), (FALL, BACK))).sag_v == 2.5
    assert only(found(put(sag, 12.0, FALL - 77, FALL), (FALL, BACK))).sag_v == 2.0
    assert only(found(put(sag, 12.0, 0, FALL - 153), (FALL, BACK))).sag_v == 2.5
    assert only(found(put(sag, 12.0, 0, FALL - 77), (FALL, BACK))).sag_v == 2.5
    assert only(found(put(sag, 12.0, 0, FALL - 76), (FALL, BACK))).sag_v == 2.0


def test_the_sag_is_the_median_of_the_whole_crank() -> None:
    calm = flat(4.0, 12.5)
    half = (BACK - FALL) // 2
    assert only(found(put(calm, 10.0, FALL, FALL + half + 1), (FALL, BACK))).sag_v == 2.5
    assert only(found(put(calm, 10.0, FALL, FALL + half - 1), (FALL, BACK))).sag_v == 0.0
    assert only(found(put(calm, 10.0, BACK - half - 1, BACK), (FALL, BACK))).sag_v == 2.5


def cranking(first: int, past: int, seconds: float = 12.0) -> FloatArray:
    """A sag of 2 V with an inrush and eight compressions a second."""
    battery_v = flat(seconds, 12.5)
    since_s = BIN_S * np.arange(past - first)
    battery_v[first:past] = 10.5 - 1.5 * np.exp(-since_s / 0.03) - 0.15 * np.sin(2 * np.pi * 8.0 * since_s)
    return battery_v


def test_without_the_lead_the_battery_tells() -> None:
    trace = plain_trace({"battery": cranking(FALL, FALL + 1024)})
    cranks = find_cranks(trace, TH)
    interval = only(cranks)
    assert (interval.by_lead, interval.sag_s, cranks.unseen_by_lead, cranks.like_a_starter_s) == (False, 1.0, (), ())
    assert interval.sag_v == pytest.approx(2.02, abs=0.02)
    smooth = find_cranks(plain_trace({"battery": 12.5 - 0.6 * (12.5 - cranking(FALL, FALL + 1024))}), TH)  # 1.2 V: not sure
    assert (smooth.intervals, len(smooth.like_a_starter_s)) == ((), 1)


def test_a_crank_that_the_lead_did_not_show() -> None:
    """Within 0.3 s of a crank by the lead it is that crank."""
    battery_v = cranking(3072, 4096)
    hidden = found(battery_v, (FALL, BACK))
    assert [c.sag_s for c in hidden.unseen_by_lead] == [6.0]
    assert (len(hidden.intervals), hidden.like_a_starter_s) == (1, ())
    assert found(battery_v, (3072, 4096)).unseen_by_lead == ()
    for away, unseen in ((140, 0), (190, 1)):  # the lead's crank ends so many bins before the sag, 0.27 s and 0.37 s
        assert len(found(battery_v, (2048, 3072 - away)).unseen_by_lead) == unseen
        assert len(found(battery_v, (4096 + away, 5120)).unseen_by_lead) == unseen
