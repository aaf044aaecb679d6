"""Obligations of the crank, one value on each side of every border."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.crank_sag import SagCrank
from firstcrank.analysis.cranks import Cranks
from firstcrank.analysis.obligations.crank import by_starter, long_enough, seen
from firstcrank.model.judgement import Crank
from firstcrank.model.vocabulary import CheckId, Result

from .plain_view import BIN_S, Volts, border, crank_of, flat, limits_with, plain_view, put

ONE = crank_of(3.0, 5.0)
UNSEEN = (SagCrank(border(3.0), border(5.0), 3.02, 2.0),)


# --- seen


@pytest.mark.parametrize(
    ("found", "result", "text"),
    [
        (Cranks((ONE,)), Result.PASS, "1 crank, by the starter lead"),
        (Cranks((crank_of(3.0, 5.0, by_lead=False),)), Result.PASS, "1 crank, by the battery's compressions"),
        (Cranks((ONE, crank_of(6.0, 7.0, by_lead=False))), Result.PASS, "2 cranks, by the starter lead"),
        (Cranks((ONE,), like_a_starter_s=(6.5, 7.0)), Result.UNDECIDED, "sagged at 6.50 s"),
        (Cranks((), UNSEEN), Result.UNDECIDED, "the starter lead stayed dead"),
        (Cranks(()), Result.UNDECIDED, "never live"),
        (Cranks((), lead_always_live=True), Result.UNDECIDED, "live from the start"),
    ],
)
def test_a_crank_must_be_seen(found: Cranks, result: Result, text: str) -> None:
    shown = seen(plain_view(found=found, cranks=found.intervals, starter_coil=flat(0.0)))
    assert (shown.check, shown.result) == (CheckId.CRANK_SEEN, result)
    assert text in shown.reason
    assert shown.at_s == (6.5 if found.like_a_starter_s else None)


def test_without_the_lead_the_battery_must_show_it() -> None:
    assert "no crank was surely seen" in seen(plain_view(cranks=())).reason
    assert "no crank was surely seen" in seen(plain_view(cranks=(), found=Cranks((), like_a_starter_s=(6.5,)))).reason


# --- long enough


@pytest.mark.parametrize(("length_s", "result"), [(1.99, Result.UNDECIDED), (2.0, Result.PASS)])
def test_two_seconds_of_cranking(length_s: float, result: Result) -> None:
    found = long_enough(plain_view(cranks=(crank_of(3.0, 3.0 + length_s),)))
    assert (found.check, found.result) == (CheckId.CRANK_LONG_ENOUGH, result)


@pytest.mark.parametrize(("length_s", "result"), [(0.29, Result.UNDECIDED), (0.31, Result.PASS)])
def test_an_engine_that_ran_needs_less(length_s: float, result: Result) -> None:
    made = (Crank(3.0, 3.0 + length_s, engine_ran_on=True, ran_on_evidence="it was charged"),)
    found = long_enough(plain_view(cranks=(crank_of(3.0, 3.0 + length_s),), made=made))
    assert found.result is result
    assert result is Result.UNDECIDED or found.reason.endswith("310 ms; the engine ran (it was charged)")


def test_the_longest_is_told() -> None:
    assert long_enough(plain_view(cranks=(ONE, crank_of(6.0, 6.5)))).reason == "cranked for 2.00 s"
    assert long_enough(plain_view(cranks=(crank_of(1.5, 2.0), ONE))).reason == "cranked for 2.00 s"
    assert "no crank" in long_enough(plain_view(cranks=())).reason


# --- by the starter


def sagging(level_v: float = 12.6, crank_v: float = 10.0, first_v: float | None = None) -> Volts:
    """The battery's level before START, while cranking, and at the very first."""
    battery = put(flat(level_v), crank_v, 3.0, 5.0)
    return battery if first_v is None else put(battery, first_v, 3.0, 3.0 + BIN_S)


def turning(battery: Volts, start_s: float = 3.2, end_s: float = 5.0, swing_v: float = 0.08) -> Volts:
    """With compressions of so many volts from lowest to highest, ten times a second; the medians stay."""
    at_s = np.arange(len(battery)) * BIN_S
    inside = (at_s >= start_s) & (at_s < end_s)
    return np.asarray(battery + np.where(inside, 0.5 * swing_v * np.cos(2 * np.pi * 10.0 * at_s), 0.0))


def agrees(battery: Volts, **more: Any) -> Result:
    """Of a crank in which the engine turns as far as the battery tells."""
    return result_of(turning(battery), **more)


def result_of(battery: Volts, **more: Any) -> Result:
    """Of any crank."""
    found = by_starter(plain_view(**({"battery": battery} | more)), 1)
    assert (found.check, found.crank) == (CheckId.CRANK_BY_STARTER, 1)
    return found.result


@pytest.mark.parametrize(
    ("crank_v", "first_v", "result"),
    [
        (12.41, None, Result.UNDECIDED),  # a starter sags the battery by 0.2 V
        (12.39, None, Result.PASS),
        (12.6, 11.91, Result.UNDECIDED),  # or its inrush by 0.7 V
        (12.6, 11.89, Result.PASS),
    ],
)
def test_coil_and_battery_must_agree(crank_v: float, first_v: float | None, result: Result) -> None:
    assert agrees(sagging(12.6, crank_v, first_v)) is result


@pytest.mark.parametrize(("at_s", "result"), [(3.11, Result.PASS), (3.13, Result.UNDECIDED)])
def test_the_inrush_comes_within_120_ms(at_s: float, result: Result) -> None:
    assert agrees(put(flat(12.6), 11.0, at_s - BIN_S, at_s)) is result


@pytest.mark.parametrize(
    ("start_s", "end_s", "result"), [(2.4, 2.9, Result.PASS), (2.71, 3.0, Result.UNDECIDED), (0.0, 2.4, Result.UNDECIDED)]
)
def test_the_level_is_that_of_before(start_s: float, end_s: float, result: Result) -> None:
    """The median from 0.5 s to 0.1 s before START: a battery that stood higher there has sagged."""
    assert agrees(put(flat(12.0), 12.6, start_s, end_s)) is result


def test_before_counts_from_the_earliest_begin() -> None:
    """The coil goes live between 2.8 s and 3 s: the level is that from 2.3 s to 2.7 s, high for more than half of it."""
    cranks = (crank_of(3.0, 5.0, wide_s=0.2),)
    assert agrees(put(flat(12.0), 12.6, 2.3, 2.52), cranks=cranks) is Result.PASS
    assert agrees(put(flat(12.0), 12.6, 2.3, 2.48), cranks=cranks) is Result.UNDECIDED


@pytest.mark.parametrize(("start_s", "result"), [(0.1, Result.UNDECIDED), (0.2, Result.PASS)])
def test_too_little_before_the_crank(start_s: float, result: Result) -> None:
    cranks = (crank_of(start_s, 5.0),)
    assert result_of(turning(put(flat(12.6), 10.0, start_s, 5.0), start_s + 0.2), cranks=cranks) is result


def test_a_crank_shorter_than_a_bin_shows_too_little() -> None:
    assert agrees(sagging(), cranks=(crank_of(3.001, 3.003),)) is Result.UNDECIDED


def test_at_24_v_the_sags_double() -> None:
    for crank_v, result in ((24.81, Result.UNDECIDED), (24.79, Result.PASS)):
        assert agrees(sagging(25.2, crank_v), limits=limits_with(24)) is result


@pytest.mark.parametrize(("swing_v", "result"), [(0.025, Result.UNDECIDED), (0.06, Result.PASS)])
def test_compressions_show_that_the_engine_turns(swing_v: float, result: Result) -> None:
    """30 mV, or 0.015 of the sag of 1 V; a mean over 7.5 ms takes a little of a swing."""
    assert result_of(turning(sagging(crank_v=11.6), swing_v=swing_v)) is result


def test_an_even_sag_is_no_engine_being_turned() -> None:
    """A glow plug, a starter that stands still; unless the engine ran afterwards."""
    found = by_starter(plain_view(battery=sagging(crank_v=9.0, first_v=8.0)), 1)
    assert "no engine being turned" in found.reason
    for ran, result in ((True, Result.PASS), (False, Result.UNDECIDED)):
        made = (Crank(3.0, 5.0, engine_ran_on=ran, ran_on_evidence="it was charged"),)
        assert result_of(sagging(crank_v=9.0, first_v=8.0), made=made) is result


def test_compressions_count_from_when_the_inrush_has_settled() -> None:
    """0.12 s after START, up to the coil's end; those of another crank are no matter."""
    for start_s, end_s, result in ((3.0, 3.25, Result.UNDECIDED), (3.2, 3.8, Result.PASS), (5.1, 7.0, Result.UNDECIDED)):
        assert result_of(turning(sagging(), start_s, end_s)) is result, (start_s, end_s)


@pytest.mark.parametrize(("times", "result"), [(3.0, Result.UNDECIDED), (30.0, Result.PASS)])
def test_compressions_in_noise_fill_the_crank_or_stand_far_above_it(times: float, result: Result) -> None:
    """A third of the crank with a swing of so many sigma; what fills the crank counts with three."""
    rng, swing_v = np.random.default_rng(1), 0.3
    noise_v = np.sqrt(3.0) * swing_v / times
    noise = rng.normal(0.0, noise_v, len(sagging()))
    assert result_of(turning(sagging(), 3.2, 3.8, swing_v) + noise) is result
    assert result_of(turning(sagging(), 3.0, 5.0, swing_v) + rng.normal(0.0, noise_v, len(noise))) is Result.PASS


def test_a_crank_over_before_the_inrush_has_settled_shows_nothing_turning() -> None:
    assert result_of(sagging(), cranks=(crank_of(3.0, 3.1),)) is Result.UNDECIDED


@pytest.mark.parametrize("ran", [True, False])
def test_a_suspected_crank_counts_after_the_engine_ran_too(ran: bool) -> None:
    """It may have stalled."""
    made = (Crank(3.0, 5.0, engine_ran_on=ran, ran_on_evidence="it was charged"),)
    assert seen(plain_view(found=Cranks((ONE,), like_a_starter_s=(5.1,)), made=made)).result is Result.UNDECIDED


def test_a_sag_beside_a_working_lead_asks_for_the_lead() -> None:
    found = Cranks((ONE,), like_a_starter_s=(6.5,))
    assert "did the starter lead come off?" in seen(plain_view(found=found, starter_coil=flat(0.0))).reason
    assert "a starter lead on the S terminal (50) shows it" in seen(plain_view(found=found)).reason


def test_other_ways_to_see_a_crank() -> None:
    without = plain_view(battery=flat(12.6), cranks=(crank_of(3.0, 5.0, by_lead=False),))
    assert by_starter(without, 1).reason == "by the battery's compressions"
    found = by_starter(plain_view(found=Cranks((ONE,), UNSEEN)), 1)
    assert (found.result, found.crank) == (Result.UNDECIDED, 1)
    assert "stayed dead" in found.reason
    two = plain_view(battery=turning(sagging()), cranks=(ONE, crank_of(6.0, 7.0)))
    assert by_starter(two, 1).result is Result.PASS
    assert (by_starter(two, 2).result, by_starter(two, 2).crank) == (Result.UNDECIDED, 2)
