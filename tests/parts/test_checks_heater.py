"""The intake heater's solenoid by its two leads, one value on each side of every border. Live from 1.5 s to 2.5 s unless changed."""

from __future__ import annotations

from typing import Any

import pytest

from firstcrank.analysis.checks.heater import check
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.trace import Uncertainty

from .plain_view import BIN_S, Volts, flat, limits_with, plain_view, put

V12 = flat(12.6)


def coil(volts: float = 12.0, *times_s: tuple[float, float]) -> Volts:
    """The coil's plus lead at `volts` in these times."""
    lead = flat(0.0)
    for start_s, end_s in times_s or ((1.5, 2.5),):
        lead = put(lead, volts, start_s, end_s)
    return lead


def findings(plus: Volts, minus: Volts | None = None, **more: Any) -> dict[CheckId, Finding]:
    """Of a battery that stands at 12.6 V."""
    leads: dict[str, Any] = {"battery": V12, "heater_coil": plus, "heater_return": flat(0.0) if minus is None else minus}
    return {f.check: f for f in check(plain_view(**leads, **more))}


def not_measured(found: dict[CheckId, Finding]) -> str:
    assert [(f.check, f.result) for f in found.values()] == [(CheckId.HEATER_VOLTAGE, Result.NOT_MEASURED)]
    return found[CheckId.HEATER_VOLTAGE].reason


def test_both_leads_are_needed() -> None:
    assert check(plain_view()) == []
    for role in ("heater_coil", "heater_return"):
        leads: dict[str, Any] = {role: coil()}
        (found,) = check(plain_view(**leads))
        assert found.result is Result.NOT_MEASURED
        assert "needs both" in found.reason


@pytest.mark.parametrize(("across_v", "live"), [(2.49, False), (2.51, True), (-2.51, True), (-2.49, False)])
def test_a_coil_is_live_by_the_difference_of_its_ends(across_v: float, live: bool) -> None:
    """Both ends idle at battery voltage."""
    found = findings(V12, put(V12, 12.6 - across_v, 1.5, 2.5))
    assert (CheckId.HEATER_POLARITY in found) is live
    assert live or "not commanded" in not_measured(found)


@pytest.mark.parametrize(("bins", "commanded"), [(12, False), (13, True)])
def test_a_pulse_of_less_than_50_ms_is_no_command(bins: int, commanded: bool) -> None:
    assert (CheckId.HEATER_POLARITY in findings(coil(12.0, (1.5, 1.5 + bins * BIN_S)))) is commanded


def test_a_24_v_coil_is_live_above_5_v() -> None:
    assert CheckId.HEATER_POLARITY not in findings(coil(4.9), limits=limits_with(24))
    assert CheckId.HEATER_POLARITY in findings(coil(5.1), limits=limits_with(24))


def test_polarity() -> None:
    right, wrong = findings(coil()), findings(flat(0.0), coil())
    assert right[CheckId.HEATER_POLARITY].result is Result.PASS
    assert right[CheckId.HEATER_POLARITY].measured == pytest.approx(12.0)
    assert wrong[CheckId.HEATER_POLARITY].result is Result.FAIL
    assert wrong[CheckId.HEATER_POLARITY].measured == pytest.approx(-12.0)
    assert "KEY OFF NOW" in wrong[CheckId.HEATER_POLARITY].reason
    assert CheckId.HEATER_VOLTAGE not in wrong
    assert all(
        found[CheckId.HEATER_POLARITY].at_s == 1.5 and found[CheckId.HEATER_POLARITY].limit == 0.0 for found in (right, wrong)
    )


@pytest.mark.parametrize(
    ("plus_v", "minus_v", "result"),
    [(11.61, 0.0, Result.PASS), (11.59, 0.0, Result.FAIL), (12.1, 0.49, Result.PASS), (12.1, 0.51, Result.FAIL)],
)
def test_what_both_sides_lose(plus_v: float, minus_v: float, result: Result) -> None:
    """12.6 V less the plus lead, and the minus lead above the battery's negative post: 1 V together."""
    found = findings(coil(plus_v), coil(minus_v))[CheckId.HEATER_VOLTAGE]
    assert (found.result, found.limit, found.at_s) == (result, 1.0, 1.5)
    assert found.measured == pytest.approx(12.6 - plus_v + minus_v)
    assert f"gets {plus_v - minus_v:.2f} V" in found.reason


def test_uncertainties_of_three_leads_add_in_squares() -> None:
    found = findings(coil(), u=Uncertainty(0.0, 0.01))
    assert found[CheckId.HEATER_VOLTAGE].uncertainty == pytest.approx(2 * 0.01 * 3**0.5)
    assert found[CheckId.HEATER_POLARITY].uncertainty == pytest.approx(2 * 0.01 * 2**0.5)


def test_the_edges_are_left_out_where_the_rest_suffices() -> None:
    """Three bins at each end."""
    edges = put(put(coil(), 4.0, 1.5, 1.5 + 3 * BIN_S), 4.0, 2.5 - 3 * BIN_S, 2.5)
    assert findings(edges)[CheckId.HEATER_VOLTAGE].measured == pytest.approx(0.6)
    more = put(edges, 4.0, 1.5, 1.5 + 4 * BIN_S)
    assert findings(more)[CheckId.HEATER_VOLTAGE].measured != pytest.approx(0.6)
    more = put(edges, 4.0, 2.5 - 4 * BIN_S, 2.5)
    assert findings(more)[CheckId.HEATER_VOLTAGE].measured != pytest.approx(0.6)


def broken(openings: int, open_s: float = 0.1) -> Volts:
    """A command of 4 s that opens again and again."""
    lead = coil(12.0, (1.5, 5.5))
    for k in range(openings):
        lead = put(lead, 0.0, 2.0 + k, 2.0 + k + open_s)
    return lead


@pytest.mark.parametrize(
    ("openings", "open_s", "result", "counted"),
    [
        (0, 0.1, Result.PASS, 0.0),
        (1, 0.1, Result.PASS, 1.0),
        (2, 0.1, Result.FAIL, 2.0),
        (3, 0.1, Result.FAIL, 3.0),
        (3, 0.246, Result.FAIL, 3.0),
        (3, 0.25, Result.PASS, 0.0),  # the module's own switching
    ],
)
def test_openings_while_commanded(openings: int, open_s: float, result: Result, counted: float) -> None:
    found = findings(broken(openings, open_s))[CheckId.HEATER_CHATTER]
    assert (found.result, found.measured, found.limit) == (result, counted, 2.0)
    assert result is Result.PASS or found.at_s == 1.5
    assert result is Result.PASS or f"opened {openings} times" in found.reason


def test_openings_of_all_commands_add_up() -> None:
    two = coil(12.0, (1.5, 1.7), (1.75, 2.0), (3.0, 3.2), (3.25, 3.5))
    assert findings(two)[CheckId.HEATER_CHATTER].result is Result.FAIL
    assert findings(two, limits=limits_with(chatter_count=4.0))[CheckId.HEATER_CHATTER].result is Result.PASS


@pytest.mark.parametrize(
    ("times_s", "before_s"),
    [
        (((1.5, 2.5),), 1.0),
        (((1.5, 2.0), (2.5, 2.75)), 0.75),
        (((2.0, 4.0),), 1.0),  # cut off by START at 3 s
        (((3.5, 4.5),), 0.0),
        (((2.0, 2.5), (3.5, 4.5)), 0.5),
    ],
)
def test_how_long_it_was_on_before_the_crank(times_s: tuple[tuple[float, float], ...], before_s: float) -> None:
    found = findings(coil(12.0, *times_s))[CheckId.HEATER_ON_TIME]
    assert (found.result, found.limit, found.unit, found.at_s) == (Result.PASS, None, "s", times_s[0][0])
    assert found.measured == pytest.approx(before_s)


def test_without_a_crank_all_of_it_counts() -> None:
    found = findings(coil(12.0, (1.5, 2.5), (4.0, 6.0)), cranks=())
    assert found[CheckId.HEATER_ON_TIME].measured == pytest.approx(3.0)
