"""Leads before the crank, each line at both sides of its border, for 12 and for 24 V."""

from __future__ import annotations

import pytest

from firstcrank.analysis.leads import check_leads
from firstcrank.limits import shipped

REVERSED = "a lead reads below zero: battery leads reversed, or a positive-earth vehicle (not supported)"
EXCHANGED = "the battery lead is dead and the key lead is live: the two leads look exchanged"
UNCONNECTED = "the battery lead reads nothing: is it on the positive post, and the ground clip on the negative post?"
CHARGER = "take a charger or booster off; without one the board's calibration is wrong"
FLAT = "a flat battery, or a 6 V vehicle (not supported)"
SAME = "the key lead reads the same as the battery: key not off, or both leads on one point"


def lines(battery_v: float, key_v: float, system_v: int = 12, *, off: bool = True) -> tuple[str, ...]:
    return check_leads(battery_v, key_v, shipped(system_v), off)


def not_at_rest(volts: str, system_v: int, hint: str) -> str:
    return f"the battery lead reads {volts} V: not at rest on a {system_v} V battery; {hint}"


@pytest.mark.parametrize(
    ("system_v", "battery_v", "key_v", "expected"),
    [
        (12, 12.6, 0.0, ()),
        (12, -0.49, 0.0, (UNCONNECTED,)),
        (12, -0.51, 0.0, (REVERSED,)),
        (12, -0.51, 8.1, (REVERSED,)),  # the first line alone
        (12, 12.6, -0.49, ()),
        (12, 12.6, -0.51, (REVERSED,)),
        (12, 2.49, 8.01, (EXCHANGED,)),
        (12, 2.49, 7.99, (UNCONNECTED,)),
        (12, 2.51, 8.01, (not_at_rest("2.5", 12, FLAT),)),
        (12, 7.99, 0.0, (not_at_rest("8.0", 12, FLAT),)),
        (12, 8.01, 0.0, ()),
        (12, 16.49, 0.0, ()),
        (12, 16.51, 0.0, (not_at_rest("16.5", 12, CHARGER),)),
        (12, 17.99, 0.0, (not_at_rest("18.0", 12, CHARGER),)),
        (12, 18.01, 0.0, (not_at_rest("18.0", 12, "for a 24 V vehicle use --system 24"),)),
        (24, 25.2, 0.0, ()),
        (24, -0.51, 0.0, (REVERSED,)),
        (24, 4.99, 8.01, (EXCHANGED,)),  # a key lead that reads this much is live on either system
        (24, 4.99, 7.99, (UNCONNECTED,)),
        (12, 31.99, 0.0, (not_at_rest("32.0", 12, "for a 24 V vehicle use --system 24"),)),
        (12, 32.01, 0.0, (not_at_rest("32.0", 12, CHARGER),)),
        (24, 5.01, 0.0, (not_at_rest("5.0", 24, "a flat battery"),)),
        (24, 7.99, 0.0, (not_at_rest("8.0", 24, "a flat battery"),)),
        (24, 8.01, 0.0, (not_at_rest("8.0", 24, "for a 12 V vehicle use --system 12"),)),
        (24, 16.49, 0.0, (not_at_rest("16.5", 24, "for a 12 V vehicle use --system 12"),)),
        (24, 16.51, 0.0, (not_at_rest("16.5", 24, "a flat battery"),)),
        (24, 17.99, 0.0, (not_at_rest("18.0", 24, "a flat battery"),)),
        (24, 18.01, 0.0, ()),
        (24, 31.99, 0.0, ()),
        (24, 32.01, 0.0, (not_at_rest("32.0", 24, CHARGER),)),
    ],
)
def test_one_line_about_the_battery_lead(system_v: int, battery_v: float, key_v: float, expected: tuple[str, ...]) -> None:
    assert lines(battery_v, key_v, system_v) == expected


@pytest.mark.parametrize(("system_v", "off_v"), [(12, 2.0), (24, 4.0)])
def test_a_key_lead_that_is_off_reads_less_than_the_limit(system_v: int, off_v: float) -> None:
    rest_v = 12.6 * system_v / 12
    assert lines(rest_v, off_v - 0.01, system_v) == lines(rest_v, off_v, system_v) == ()
    above = f"the key lead reads {off_v + 0.1:.1f} V: key not off, or something feeds it back"
    assert lines(rest_v, off_v + 0.1, system_v) == (above,)
    assert lines(rest_v, off_v + 0.1, system_v, off=False) == ()


@pytest.mark.parametrize(("system_v", "apart_v"), [(12, 0.05), (24, 0.1)])
def test_two_leads_on_one_point(system_v: int, apart_v: float) -> None:
    rest_v = 12.6 * system_v / 12
    for sign in (1.0, -1.0):
        assert lines(rest_v, rest_v + sign * (apart_v - 0.002), system_v) == (SAME,)
        (line,) = lines(rest_v, rest_v + sign * (apart_v + 0.002), system_v)
        assert line.endswith("V: key not off, or something feeds it back")
    assert lines(rest_v, rest_v, system_v, off=False) == ()


@pytest.mark.parametrize(("system_v", "least_v"), [(12, 8.0), (24, 18.0)])
def test_a_battery_lead_that_is_not_on_says_nothing_about_the_key(system_v: int, least_v: float) -> None:
    key_v = 5.0 * system_v / 12
    assert len(lines(least_v - 0.01, key_v, system_v)) == 1
    assert lines(least_v - 0.01, key_v, system_v)[0].startswith("the battery lead reads")
    assert lines(least_v + 0.01, key_v, system_v) == (
        f"the key lead reads {key_v:.1f} V: key not off, or something feeds it back",
    )


def test_both_lines_where_both_are_due() -> None:
    assert lines(19.0, 5.0) == (
        not_at_rest("19.0", 12, "for a 24 V vehicle use --system 24"),
        "the key lead reads 5.0 V: key not off, or something feeds it back",
    )
