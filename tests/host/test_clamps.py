"""One table of clamps: every number with its source, and the designer, the budgets and the nominal calibrations take it from there."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest

from firstcrank import clamps
from firstcrank.calibration import nominal_channel
from firstcrank.clamps import CLAMPS, Sources, clamp_called
from firstcrank.cli import divider
from firstcrank.divider.budget import Parts, budget
from firstcrank.divider.network import Network
from firstcrank.error_terms import TERMS, leakage_v
from firstcrank.errors import CalibrationError

HOST = Path(clamps.__file__).parent


@pytest.mark.parametrize("name", list(CLAMPS))
def test_every_number_has_a_sheet_or_says_from_memory(name: str) -> None:
    for field in fields(Sources):
        source = getattr(CLAMPS[name].sources, field.name)
        assert re.fullmatch(r"(Infineon|NXP|PanJit|Formosa) \w+(, .*\d{4}-\d\d-\d\d)?", source) or source == clamps.MEMORY


# Printed on the sheets named in the table: nA at 25 degC, pF, mA for ever, mA for a millisecond.
@pytest.mark.parametrize(
    ("name", "nanoamps", "picofarads", "milliamps", "pulse_milliamps"),
    [("bav199", 5, 2, 140, 1000), ("1n4148", 25, 4, 150, 500), ("bat54s", 2000, 10, 200, 600)],
)
def test_the_sheets_numbers(name: str, nanoamps: float, picofarads: float, milliamps: float, pulse_milliamps: float) -> None:
    c = CLAMPS[name]
    assert (c.leakage_a * 1e9, c.capacitance_f * 1e12) == pytest.approx((nanoamps, picofarads))
    assert (c.steady_a * 1e3, c.pulse_a * 1e3) == pytest.approx((milliamps, pulse_milliamps))


@pytest.mark.parametrize("name", list(CLAMPS))
def test_designer_budget_and_calibration_use_the_same_leakage(name: str) -> None:
    """At 40 degC and mid range, where either diode can leak alone: one limit, in the budget's line and in the calibration's term."""
    hot_c = TERMS["hottest"].limit
    n = Network(33e3, 6.8e3, 10e-9, 4.7e3, clamp=clamp_called(name))
    line = next(x for x in budget(n, Parts(), 9.0, hot_c).lines if x.what == "clamp's leakage")
    by_hand_v = CLAMPS[name].leakage_a * 2.0 ** ((hot_c - 25.0) / 10.0) * 33e3
    assert line.limit_v == pytest.approx(by_hand_v, rel=1e-6)
    alone = leakage_v(33e3, name, "rp2040", 4.7e3, n.ratio) ** 2 - leakage_v(33e3, "none", "rp2040", 4.7e3, n.ratio) ** 2
    assert alone == pytest.approx(by_hand_v**2 / 3.0, rel=1e-6)
    stated = nominal_channel(33e3, 6.8e3, 0.01, clamp=name, r_series_ohm=4.7e3).uncertainty.leakage_v
    assert stated == leakage_v(33e3, name, "rp2040", 4.7e3, n.ratio)


def test_an_unknown_clamp_is_refused_with_those_there_are() -> None:
    with pytest.raises(CalibrationError, match="bav199, 1n4148, bat54s, none"):
        clamp_called("zener")
    assert clamp_called("none") is None


def test_no_other_file_states_a_clamps_leakage() -> None:
    """Neither a second table of parts nor a leakage in microamperes elsewhere in the program."""
    for path in HOST.rglob("*.py"):
        if path.name != "clamps.py":
            assert not re.search(r"\bClamp\(|\"(?:bat54s|bav199)\":", path.read_text("utf-8")), path.name
    choices = next(p for p in divider.divider.params if p.name == "clamp").type.choices  # type: ignore[attr-defined]
    assert {c.lower() for c in choices} == {*CLAMPS, "none"}
