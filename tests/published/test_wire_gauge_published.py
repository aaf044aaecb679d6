"""Wire gauge and drop against ASTM B258, IEC 60228, handbook tables and FAA AC 43.13-1B's worked examples."""

from __future__ import annotations

import pytest

from firstcrank.errors import UsageError
from firstcrank.wiring import gauge
from firstcrank.wiring.terminals import TERMINALS

# AWG diameter mm and area mm2: ASTM B258-02's formula as given in a public reference; areas agree with IEC/UL lists.
AWG = [
    (0, 8.2515, 53.475),
    (4, 5.1894, 21.151),
    (8, 3.2636, 8.3656),
    (10, 2.5882, 5.2612),
    (12, 2.0525, 3.3088),
    (14, 1.6277, 2.0809),
    (16, 1.2908, 1.3087),
    (18, 1.0237, 0.8230),
    (20, 0.8118, 0.5176),
    (22, 0.6438, 0.3255),
]


@pytest.mark.parametrize(("size", "diameter_mm", "area_mm2"), AWG)
def test_awg(size: int, diameter_mm: float, area_mm2: float) -> None:
    assert gauge.awg_diameter_m(size) * 1e3 == pytest.approx(diameter_mm, rel=1e-4)
    assert gauge.awg_area_m2(size) * 1e6 == pytest.approx(area_mm2, rel=2e-4)


# NEC Chapter 9 Table 8, uncoated copper at 75 degC, ohm per 1000 ft (public table; its 14 to 10 rows are the solid ones).
NEC = [(14, 3.07), (12, 1.93), (10, 1.21), (8, 0.764)]


@pytest.mark.parametrize(("size", "ohm_per_kft"), NEC)
def test_handbook_resistance_at_75_degc(size: int, ohm_per_kft: float) -> None:
    assert gauge.awg_ohm_per_m(size, 75.0) * 304.8 == pytest.approx(ohm_per_kft, rel=0.006)


@pytest.mark.parametrize(("celsius", "factor"), [(5, 1.064), (25, 0.980), (50, 0.893), (75, 0.820), (100, 0.758)])
def test_iec_60228_temperature_factor(celsius: float, factor: float) -> None:
    """IEC 60228's table reduces a measured resistance to 20 degC (public cable table)."""
    assert 1.0 / gauge.at_temperature(1.0, celsius) == pytest.approx(factor, abs=0.006)


# IEC 60228 class 5, highest mOhm/m at 20 degC: three public tables agree.
@pytest.mark.parametrize(
    ("area", "mohm"), [(0.5, 39.0), (0.75, 26.0), (1.5, 13.3), (2.5, 7.98), (6.0, 3.30), (16.0, 1.21), (95.0, 0.206)]
)
def test_iec_60228_class_5(area: float, mohm: float) -> None:
    assert gauge.metric_ohm_per_m(area) * 1e3 == pytest.approx(mohm)


# FAA AC 43.13-1B Table 11-7 and 11-8 (public domain): ohm per ft, feet, amperes, volts. One printed 3.60 is 3.5552 and one
# printed .366 is a misprint for .4914: those two rows are left out.
AC43 = [
    (0.00044, 107, 20, 0.942),
    (0.00028, 90, 20, 0.504),
    (0.00306, 100, 20, 6.12),
    (0.00126, 39, 20, 0.98),
    (0.00126, 156, 20, 3.93),
    (0.00126, 273, 20, 6.88),
]


@pytest.mark.parametrize(("ohm_per_ft", "feet", "amperes", "volts"), AC43)
def test_drop_of_the_worked_examples(ohm_per_ft: float, feet: float, amperes: float, volts: float) -> None:
    assert gauge.drop_v(ohm_per_ft, feet, amperes) == pytest.approx(volts, abs=0.0051)


def test_hot_wire_length() -> None:
    """AC 43.13-1B: L2 = 254.5 L1 / (234.5 + T2); 100 ft at 50 degC may be 89.46 ft."""
    assert 100.0 / gauge.at_temperature(1.0, 50.0) == pytest.approx(89.46, abs=0.01)


def test_the_smallest_gauge_is_the_smallest_that_holds() -> None:
    awg, metric = gauge.smallest_gauge(4.0, 2.0, 0.25, 20.0)
    size = gauge.awg_number(awg)
    assert gauge.drop_v(gauge.awg_ohm_per_m(size), 4.0, 2.0) < 0.25 <= gauge.drop_v(gauge.awg_ohm_per_m(size + 2), 4.0, 2.0)
    assert metric == "0.75 mm2"


@pytest.mark.parametrize(("text", "size"), [("16", 16), ("2/0", -1), ("AWG 4/0", -3), ("1/0", 0), ("0", 0)])
def test_awg_names(text: str, size: int) -> None:
    assert gauge.awg_number(text) == size


@pytest.mark.parametrize("text", ["", "x", "-4", "5/0", "99"])
def test_nonsense_gauges_are_refused(text: str) -> None:
    with pytest.raises(UsageError):
        gauge.awg_number(text)


def test_only_one_terminal_takes_the_key_feed() -> None:
    """DIN 72552: 15 switched, 30 battery, 50 starter control, 31 ground."""
    (right,) = [t for t in TERMINALS if t.key_feed.startswith("YES")]
    assert (right.run, right.start, right.din) == (True, True, "15")
    assert {t.din for t in TERMINALS if t.din in ("30", "31", "50")} == {"30", "31", "50"}
    (start,) = [t for t in TERMINALS if t.din == "50"]
    assert start.key_feed.startswith("never")
