"""The module's supply and the grounds, one value on each side of every border, means and durations by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.checks.module import (
    _longest_s,
    _worst_half_second,
    check_grounds,
    check_loop,
    check_minimum,
    check_supply,
)
from firstcrank.model.context import Context
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.trace import Uncertainty

from .plain_view import BIN_S, Volts, a_battery, crank_of, flat, plain_view, put


def only(findings: list[Finding]) -> Finding:
    """The one finding."""
    (one,) = findings
    return one


# --- the worst half second


def chosen_s(volts: Volts, **more: Any) -> tuple[float, float] | None:
    """(begin, length) of what is chosen, seconds."""
    chosen = _worst_half_second(plain_view(**more), volts)
    if chosen is None:
        return None
    at_bins = np.flatnonzero(chosen)
    assert np.all(np.diff(at_bins) == 1)
    return float(at_bins[0]) * BIN_S, len(at_bins) * BIN_S


def test_the_half_second_with_the_highest_mean() -> None:
    assert chosen_s(put(flat(0.0), 1.0, 4.0, 4.5)) == (4.0, 0.5)
    assert chosen_s(put(flat(0.0), 1.0, 4.5, 6.0)) == (4.5, 0.5)  # the crank ends at 5 s
    twice = put(put(flat(0.0), 1.0, 3.5, 4.0), 1.1, 6.2, 6.7)
    assert chosen_s(twice, cranks=(crank_of(3.0, 5.0), crank_of(5.9, 7.0))) == pytest.approx((6.2, 0.5), abs=2 * BIN_S)
    assert chosen_s(twice, cranks=(crank_of(3.0, 5.0), crank_of(6.9, 7.5))) == (3.5, 0.5)


def test_the_inrush_is_left_out() -> None:
    found = chosen_s(put(flat(0.0), 1.0, 3.0, 3.2))
    assert found is not None
    assert found[0] >= 3.2


def test_of_a_short_crank_nine_tenths() -> None:
    """0.4 s, the first 0.2 s left out: 51 bins remain, of which 46 cover nine tenths."""
    found = chosen_s(put(flat(0.0), 1.0, 3.2, 3.6), cranks=(crank_of(3.0, 3.4),))
    assert found is not None
    assert found[1] == pytest.approx(0.9 * 51 * BIN_S, abs=BIN_S)


def test_no_crank_no_half_second() -> None:
    assert chosen_s(flat(0.0), cranks=()) is None
    assert chosen_s(flat(0.0), cranks=(crank_of(3.0, 3.2),)) is None
    assert chosen_s(put(flat(0.0), 1.0, 4.0, 4.5), cranks=(crank_of(1.5, 1.6), crank_of(3.0, 5.0))) == (4.0, 0.5)


# --- its minimum


def lows(lowest_v: float, bins: int = 1, *, at_s: float = 4.0, mean_v: float | None = None, **more: Any) -> Finding:
    """The module's supply falls to `lowest_v` for so many bins of 3.9 ms; an inrush of 5 ms is ridden through."""
    supply = put(a_battery(), lowest_v if mean_v is None else mean_v, at_s, at_s + bins * BIN_S)
    lowest = put(a_battery(), lowest_v, at_s, at_s + bins * BIN_S)
    return only(check_minimum(plain_view(module_supply=supply, lowest={"module_supply": lowest}, **more)))


@pytest.mark.parametrize(
    ("lowest_v", "bins", "more", "result"),
    [
        (8.0, 20, {}, Result.PASS),
        (7.0, 20, {}, Result.PASS),
        (6.99, 1, {}, Result.PASS),  # 3.9 ms
        (6.99, 2, {}, Result.FAIL),  # 7.8 ms
        (6.01, 1, {}, Result.PASS),
        (5.99, 1, {}, Result.FAIL),  # deeper than any inrush may go
        (6.99, 2, {"mean_v": 7.5}, Result.UNDECIDED),  # perhaps so long, perhaps not
        (6.99, 1, {"mean_v": 7.5}, Result.PASS),
        (6.99, 2, {"at_s": 2.9}, Result.FAIL),  # while the key turns
        (6.99, 2, {"at_s": 5.2}, Result.FAIL),
        (6.0, 50, {"at_s": 6.5}, Result.PASS),  # long after it
        (7.15, 2, {"u": Uncertainty(0.0, 0.1)}, Result.UNDECIDED),  # U is 0.2 V
        (7.25, 2, {"u": Uncertainty(0.0, 0.1)}, Result.PASS),
        (6.85, 2, {"u": Uncertainty(0.0, 0.1)}, Result.UNDECIDED),
        (6.75, 2, {"u": Uncertainty(0.0, 0.1)}, Result.FAIL),
        (5.85, 1, {"u": Uncertainty(0.0, 0.1)}, Result.PASS),
        (5.75, 1, {"u": Uncertainty(0.0, 0.1)}, Result.FAIL),
    ],
)
def test_the_modules_minimum(lowest_v: float, bins: int, more: dict[str, Any], result: Result) -> None:
    case = lows(lowest_v, bins, **more)
    assert (case.check, case.result, case.limit, case.phase) == (CheckId.MODULE_SUPPLY_MINIMUM, result, 7.0, Phase.CRANK)


def test_the_lowest_and_where_and_for_how_long() -> None:
    found = lows(6.5, 4)
    assert found.measured == 6.5
    assert found.at_s == 4.0
    assert "6.50 V at the lowest" in found.reason
    assert "for 15.6 ms" in found.reason


def test_the_module_is_measured_against_its_ground() -> None:
    """7.3 V less a ground at 0.4 V: the lowest of the one less the highest of the other."""
    supply, ground = put(a_battery(), 7.3, 4.0, 4.1), put(flat(0.0), 0.4, 4.0, 4.1)
    view = plain_view(module_supply=supply, module_ground=ground, u=Uncertainty(0.0, 0.01))
    found = only(check_minimum(view))
    assert found.result is Result.FAIL
    assert found.measured == pytest.approx(6.9)
    assert found.uncertainty == pytest.approx(2 * 0.01 * 2**0.5)
    higher = only(check_minimum(plain_view(module_supply=supply, module_ground=flat(0.0), highest={"module_ground": ground})))
    assert higher.measured == pytest.approx(6.9)
    assert higher.result is Result.UNDECIDED  # by its mean it stays above


def test_no_lead_or_no_start_no_minimum() -> None:
    assert check_minimum(plain_view()) == []
    assert check_minimum(plain_view(module_supply=a_battery(), phases=((Phase.KEY_ON, 1.0, 8.0),))) == []


def test_the_longest_run_of_bins() -> None:
    chosen = np.zeros(len(plain_view().trace), dtype=bool)
    assert _longest_s(plain_view(), chosen) == 0.0
    chosen[[3, 4, 5, 9, 10]] = True
    assert _longest_s(plain_view(), chosen) == 3 * BIN_S


# --- drops and rises while cranking


@pytest.mark.parametrize(("drop_v", "result"), [(0.49, Result.PASS), (0.51, Result.FAIL)])
def test_what_the_modules_supply_drops(drop_v: float, result: Result) -> None:
    supply = put(a_battery() - 0.1, 10.0 - drop_v, 4.0, 4.5)
    found = only(check_supply(plain_view(module_supply=supply)))
    assert (found.check, found.result, found.limit, found.phase) == (CheckId.MODULE_SUPPLY_DROP, result, 0.5, Phase.CRANK)
    assert found.measured == pytest.approx(drop_v)
    assert found.at_s == 4.0


def test_no_lead_or_no_crank_no_drop() -> None:
    assert check_supply(plain_view()) == []
    assert check_supply(plain_view(module_supply=a_battery(), cranks=())) == []


@pytest.mark.parametrize(
    ("role", "limit_v", "check"),
    [("module_ground", 0.5, CheckId.GROUND_RISE_MODULE), ("engine_ground", 0.7, CheckId.GROUND_RISE_ENGINE)],
)
def test_a_ground_that_rises(role: str, limit_v: float, check: CheckId) -> None:
    for rise_v, result in ((limit_v - 0.01, Result.PASS), (limit_v + 0.01, Result.FAIL)):
        leads: dict[str, Any] = {role: put(put(flat(0.0), 0.1, 3.0, 5.0), rise_v, 4.0, 4.5)}
        found = only(check_grounds(plain_view(**leads)))
        assert (found.check, found.result, found.limit, found.at_s, found.phase) == (check, result, limit_v, 4.0, Phase.CRANK)
        assert found.measured == pytest.approx(rise_v)
    assert f"{role.replace('_', ' ')} rises" in found.reason


def test_both_grounds_or_none() -> None:
    ground = put(flat(0.0), 0.1, 3.0, 5.0)
    assert [f.check for f in check_grounds(plain_view(module_ground=ground, engine_ground=ground))] == [
        CheckId.GROUND_RISE_MODULE,
        CheckId.GROUND_RISE_ENGINE,
    ]
    assert [f.check for f in check_grounds(plain_view(engine_ground=ground))] == [CheckId.GROUND_RISE_ENGINE]
    assert check_grounds(plain_view()) == []
    assert check_grounds(plain_view(module_ground=ground, cranks=())) == []


# --- loop resistance


def loop(plug_v: float, *, load_ohm: float | None = 2.2, at_s: float = 6.0, lasts_s: float = 1.0, **more: Any) -> Finding:
    """A load at the plug for a while: 12.6 V at the battery."""
    supply = put(a_battery(), plug_v, at_s, at_s + lasts_s)
    return only(check_loop(plain_view(module_supply=supply, context=Context(known_load_ohm=load_ohm), **more)))


@pytest.mark.parametrize(("loop_ohm", "result"), [(0.049, Result.PASS), (0.051, Result.FAIL)])
def test_loop_resistance_by_ohms_law(loop_ohm: float, result: Result) -> None:
    """A divider: 2.2 ohm of load behind the loop take their share of 12.6 V."""
    found = loop(12.6 * 2.2 / (2.2 + loop_ohm))
    assert (found.check, found.result, found.limit, found.unit) == (CheckId.MODULE_SUPPLY_LOOP, result, 0.05, "ohm")
    assert found.measured == pytest.approx(loop_ohm)
    assert f"{loop_ohm * 1e3:.0f} mΩ" in found.reason


def test_its_uncertainty_is_that_of_the_two_leads() -> None:
    """Offsets of 10 mV on both: sqrt(2) of them on the difference, of which load over plug volts makes ohms; U is twice that."""
    found = loop(12.0, u=Uncertainty(0.0, 0.01))
    assert found.measured == pytest.approx(2.2 * 0.6 / 12.0)
    assert found.uncertainty == pytest.approx(2 * 2.2 * 0.01 * 2**0.5 / 12.0)


def test_the_load_is_seen_outside_the_start_only() -> None:
    assert loop(12.0, at_s=3.5).measured == pytest.approx(0.0)
    assert loop(12.0, at_s=6.0).measured == pytest.approx(2.2 * 0.6 / 12.0)


def test_the_plug_is_measured_against_its_ground() -> None:
    ground = put(flat(0.0), 0.2, 6.0, 7.0)
    assert loop(12.2, module_ground=ground).measured == pytest.approx(2.2 * 0.6 / 12.0)


def test_the_load_is_found_where_it_lasts_for_a_fiftieth() -> None:
    """8 s less START with its ways are 1382 bins: a fiftieth are 27, whose median is asked."""
    assert loop(12.0, lasts_s=15 * BIN_S).measured == pytest.approx(2.2 * 0.6 / 12.0)
    assert loop(12.0, lasts_s=12 * BIN_S).measured == pytest.approx(0.0)


@pytest.mark.parametrize(("plug_v", "result"), [(0.09, Result.NOT_MEASURED), (0.11, Result.FAIL)])
def test_a_dead_plug_shows_no_loop(plug_v: float, result: Result) -> None:
    assert loop(plug_v).result is result


@pytest.mark.parametrize(("bins", "result"), [(3, Result.NOT_MEASURED), (4, Result.FAIL)])
def test_four_quiet_bins_are_asked_for(bins: int, result: Result) -> None:
    """The start takes all but so many bins."""
    assert loop(12.0, at_s=0.0, lasts_s=8.0, phases=((Phase.CRANK, bins * BIN_S, 8.0),)).result is result


def test_the_load_must_be_known() -> None:
    assert loop(12.0, load_ohm=None).result is Result.NOT_MEASURED
    assert check_loop(plain_view(context=Context(known_load_ohm=2.2))) == []
