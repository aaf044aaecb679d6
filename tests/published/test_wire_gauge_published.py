"""Wire gauge and drop against ASTM B258, IEC 60228, handbook tables and FAA AC 43.13-1B's worked examples."""

from __future__ import annotations

import pytest

from firstcrank.errors import UsageError
from firstcrank.wiring import ampacity, gauge
from firstcrank.wiring.feed import Run, choose
from firstcrank.wiring.terminals import AMERICAN_TERMINALS, DIN_TERMINALS, RELAY_PINS

# AWG diameter mm and area mm2: ASTM B258-02, the formula d = 0.127 mm 92^((36-n)/39) (quoted by liquisearch.com, American wire
# gauge, Formula); areas agree with the IEC and UL list of cableizer.com.
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


# NFPA 70 (NEC), Chapter 9, Table 8, uncoated copper at 75 degC, ohm per 1000 ft, as quoted by voltdropcalc.com, which names no edition;
# its rows 14 to 10 are the solid ones (from memory).
NEC = [(14, 3.07), (12, 1.93), (10, 1.21), (8, 0.764)]


@pytest.mark.parametrize(("size", "ohm_per_kft"), NEC)
def test_handbook_resistance_at_75_degc(size: int, ohm_per_kft: float) -> None:
    assert gauge.awg_ohm_per_m(size, 75.0) * 304.8 == pytest.approx(ohm_per_kft, rel=0.006)


@pytest.mark.parametrize(("celsius", "factor"), [(5, 1.064), (25, 0.980), (50, 0.893), (75, 0.820), (100, 0.758)])
def test_iec_60228_temperature_factor(celsius: float, factor: float) -> None:
    """IEC 60228's table reduces a measured resistance to 20 degC (public cable table)."""
    assert 1.0 / gauge.at_temperature(1.0, celsius) == pytest.approx(factor, abs=0.006)


# IEC 60228 class 5, highest mOhm/m at 20 degC: mycableengineering.com/knowledge-base/iec-60228-dc-resistance; uecables.com from 1 mm2.
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


# The same table's stranded rows.
NEC_STRANDED = [(6, 0.491), (4, 0.308), (2, 0.194), (1, 0.154), (0, 0.122), (-1, 0.0967), (-2, 0.0766), (-3, 0.0608)]


@pytest.mark.parametrize(("size", "ohm_per_kft"), NEC_STRANDED)
def test_stranded_wire_at_75_degc(size: int, ohm_per_kft: float) -> None:
    assert gauge.stranded_ohm_per_m(size, 75.0) * 304.8 == pytest.approx(ohm_per_kft, rel=0.007)


# Amperes in a bundle: MIL-W-5088, table of conductors in bundles (from memory, edition not known). FAA AC 43.13-1B protects AWG 20 at
# 7.5 A (from memory).
@pytest.mark.parametrize(
    ("size", "amperes"),
    [(22, 5.0), (20, 7.5), (18, 10.0), (16, 13.0), (14, 17.0), (12, 23.0), (10, 33.0), (8, 44.0), (4, 81.0)],
)
def test_ampacity(size: int, amperes: float) -> None:
    assert ampacity.awg_amperes(size) == amperes
    assert ampacity.metric_amperes(gauge.awg_area_m2(size) * 1e6) == pytest.approx(amperes)


def test_hot_surroundings_take_some_of_it() -> None:
    """105 degC insulation, rated at 57 degC: half of the 48 K left at 81 degC, so the square root of a half."""
    assert ampacity.awg_amperes(16, 81.0) == pytest.approx(13.0 * 0.5**0.5)
    with pytest.raises(UsageError):
        ampacity.awg_amperes(16, 105.0)


@pytest.mark.parametrize(
    ("run", "awg", "metric", "fuse_a"),
    [
        (Run(0.3, 20.0, 0.25), "AWG 10", "4 mm2", 25.0),  # heat decides: AWG 20 would do for the drop and burn
        (Run(0.1, 100.0, 0.5), "AWG 1", "50 mm2", 125.0),
        (Run(4.0, 2.0, 0.25), "AWG 18", "0.75 mm2", 3.0),  # drop decides
        (Run(4.0, 2.0, 0.25, back="wire"), "AWG 16", "1.5 mm2", 3.0),
        (Run(13 * 0.3048, 5.0, 0.25), "AWG 14", "2.5 mm2", 7.5),
        (Run(6 * 0.3048, 400.0, 0.2, cranking=True), "AWG 2/0", "70 mm2", None),
    ],
)
def test_the_wire_is_right_on_both_counts_and_no_thicker(run: Run, awg: str, metric: str, fuse_a: float | None) -> None:
    found = choose(run)
    assert (found.awg.name, found.metric.name, found.fuse_a) == (awg, metric, fuse_a)
    assert found.awg.drop_v < run.limit_v
    assert fuse_a is None or found.awg.carries_a >= fuse_a >= run.amperes / 0.8


def test_a_run_that_no_wire_fits_says_what_to_do() -> None:
    with pytest.raises(UsageError, match="shorten it or use a relay"):
        choose(Run(100.0, 100.0, 0.1))


def test_a_crank_warms_a_cable_by_its_own_heat_capacity() -> None:
    """AWG 2, 500 A, 30 s: (500 A / 33.6 mm2)^2 * 1.98e-8 ohm m * 30 s / 3.45e6 J/m3K = 38 K, by hand."""
    assert ampacity.crank_rise_k(33.6, 500.0) == pytest.approx(38.2, abs=0.5)


@pytest.mark.parametrize(("text", "size"), [("16", 16), ("2/0", -1), ("AWG 4/0", -3), ("1/0", 0), ("0", 0)])
def test_awg_names(text: str, size: int) -> None:
    assert gauge.awg_number(text) == size


@pytest.mark.parametrize("text", ["", "x", "-4", "5/0", "99"])
def test_nonsense_gauges_are_refused(text: str) -> None:
    with pytest.raises(UsageError):
        gauge.awg_number(text)


def test_terminals_after_din_72552() -> None:
    """Public lists: 15 switched, 15a series resistor's output, 30 battery, 31 ground, 50 starter; 16 and 15b are in none of them."""
    by_mark = {t.mark: t for t in DIN_TERMINALS}
    assert {"15", "15a", "15e", "30", "31", "50", "75", "61 / D+"} <= set(by_mark)
    assert not {"16", "15b"} & set(by_mark)
    assert "resistor" in by_mark["15a"].what
    assert by_mark["50"].key_feed.startswith("never")
    assert [t.mark for t in DIN_TERMINALS if t.key_feed.startswith("YES")] == ["15e"]


def test_american_marks_and_relay_pins() -> None:
    """Common practice, no source; relay numbers DIN 72552 from memory."""
    by_mark = {t.mark: t for t in AMERICAN_TERMINALS}
    assert "often dies in START" in by_mark["IGN2"].key_feed
    assert (by_mark["R or I on a starter"].on, by_mark["R or I on a starter"].start) == (False, True)
    assert [t.mark for t in AMERICAN_TERMINALS if t.key_feed.startswith("YES")] == ["IGN1, IGN, I"]
    assert [p.mark for p in RELAY_PINS] == ["30", "87", "87a", "86", "85"]
    assert all(t.source for t in (*DIN_TERMINALS, *AMERICAN_TERMINALS, *RELAY_PINS))
