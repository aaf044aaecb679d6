"""Limits by a starting profile: values by hand from ISO 16750-2's figures, and the profile itself through the judge.

ISO 16750-2:2003 4.5.3 level I and 2006 4.6.3 24 V level III come from waveform files that name edition and clause; their
addresses were not kept (level I:
8 V, 5, 15, 50 ms, ripple of 2 V at 2 Hz about 10.5 V; 24 V III: 6 V, 10, 50, 50 ms, about 11 V). The ripple minima (9.5 and 10 V) and
all voltages of levels II to IV are from memory; those rows test the arithmetic and cite nothing.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.cli.main import main
from firstcrank.errors import UsageError
from firstcrank.limit_profiles import PROFILES, preset_text, profile_of
from firstcrank.limits import Limits, parse_limits, read_limits, shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId
from tests.acceptance.start import Start

from .test_start_profiles import ISO_24V_III, ISO_I, Profile, trace_of, volts

BEGIN_S = 4.0
MARGIN_V = 0.2
# level, system, lowest of ripple V, lowest V, time below the ripple's lowest by hand (s)
BY_HAND = [
    ("I", 12, 9.5, 8.0, (1.5 / 4) * 0.005 + 0.015 + (1.5 / 2.5) * 0.050),
    ("II", 12, 6.5, 4.5, (2.0 / 7.5) * 0.005 + 0.015 + (2.0 / 3.0) * 0.050),
    ("III", 12, 5.0, 3.0, (2.0 / 9.0) * 0.005 + 0.015 + (2.0 / 3.0) * 0.050),
    ("IV", 12, 6.5, 6.0, (0.5 / 6.0) * 0.005 + 0.015 + (0.5 / 1.5) * 0.050),
    ("III", 24, 10.0, 6.0, (4.0 / 18.0) * 0.010 + 0.050 + (4.0 / 5.0) * 0.050),
]


def level(name: str, dip_v: float, centre_v: float, length_s: float, back_s: float) -> Profile:
    """A 12 V level drawn corner by corner, as ISO_I is."""
    corners = ((0.0, 12.0), (0.005, dip_v), (0.020, dip_v), (0.070, centre_v))
    return Profile(f"level {name}", "from memory", corners, (0.070, length_s, centre_v, 2.0), (back_s, 12.0))


DRAWN = {
    ("I", 12): ISO_I,
    ("II", 12): level("II", 4.5, 7.5, 10.0, 0.100),
    ("III", 12): level("III", 3.0, 6.0, 1.0, 0.100),
    ("IV", 12): level("IV", 6.0, 7.5, 10.0, 0.100),
    ("III", 24): ISO_24V_III,
}


def limits_by(name: str, system_v: int) -> Limits:
    return parse_limits(preset_text(name, system_v), "preset", base=None)


@pytest.mark.parametrize(("name", "system_v", "ripple_v", "dip_v", "below_s"), BY_HAND)
def test_the_preset_is_the_profile(name: str, system_v: int, ripple_v: float, dip_v: float, below_s: float) -> None:
    limits = limits_by(name, system_v)
    assert limits["module_minimum_v"] == pytest.approx(ripple_v - MARGIN_V)
    assert limits["supply_dip_lowest_v"] == pytest.approx(dip_v - MARGIN_V)
    assert limits["supply_dip_max_s"] == pytest.approx(below_s, abs=5e-6)
    others = set(limits.values) - {"module_minimum_v", "supply_dip_lowest_v", "supply_dip_max_s"}
    assert {k: limits[k] for k in others} == {k: shipped(system_v)[k] for k in others}


def test_each_value_says_its_source_and_status() -> None:
    for profile in PROFILES:
        sources = limits_by(profile.level, profile.system_v).sources
        for key in ("module_minimum_v", "supply_dip_lowest_v", "supply_dip_max_s"):
            assert profile.source in sources[key]
            assert "from memory" in sources[key]
            assert "maker must name" in sources[key]
    checked = [(p.level, p.system_v) for p in PROFILES if "waveform file" in p.status]
    assert checked == [("I", 12), ("III", 24)]
    with pytest.raises(UsageError, match="no values for starting profile II at 24 V"):
        profile_of("II", 24)


def supply_of(profile: Profile, limits: Limits, below_v: float = 0.0, longer_s: float = 0.0) -> Finding:
    """The profile as the battery, a feed 50 mV below it, judged; `below_v` deeper and `longer_s` longer in its dip."""
    start = Start(end_s=18.0, noise_v=0.0)
    seen, back_s = volts(profile, start.t, BEGIN_S)
    if longer_s or below_v:
        hold_s = profile.corners[1][0]
        dip_v = profile.corners[1][1]
        seen = np.where(start.during(BEGIN_S + hold_s, profile.corners[2][0] - hold_s + longer_s), dip_v - below_v, seen)
    start.volts["battery"] = seen
    start.volts["key_switch"] = np.where(start.t >= 2.0, seen - 0.05, 0.0)
    start.volts["starter_coil"] = np.where((start.t >= BEGIN_S) & (start.t < back_s), seen - 0.3, 0.0)
    asked = Context(cranked_with_key=True, module_plugged_in=True)
    judged = judge(trace_of(start, profile, limits["module_minimum_v"]), limits, asked)
    (found,) = [f for f in judged.findings if f.check is CheckId.SUPPLY_MINIMUM and f.crank == 1]
    assert bool(found.tolerated) == (found.tolerated in judged.tolerated and bool(judged.tolerated))
    return found


@pytest.mark.parametrize("key", DRAWN, ids=lambda key: f"{key[0]} {key[1]} V")
def test_the_profile_itself_is_tolerated_with_its_preset(key: tuple[str, int]) -> None:
    found = supply_of(DRAWN[key], limits_by(*key))
    assert found.result == "warn", found.reason
    assert "a dip of the battery" in found.tolerated


@pytest.mark.parametrize("key", [k for k in DRAWN if k != ("I", 12)], ids=lambda key: f"{key[0]} {key[1]} V")
def test_the_shipped_limits_do_not_tolerate_a_profile_that_dips_below_them(key: tuple[str, int]) -> None:
    found = supply_of(DRAWN[key], shipped(key[1]))
    assert found.result == "fail", found.reason
    assert not found.tolerated


def test_level_i_never_goes_below_the_shipped_minimum() -> None:
    found = supply_of(ISO_I, shipped(12))
    assert (found.result, found.tolerated) == ("pass", "")


@pytest.mark.parametrize("key", DRAWN, ids=lambda key: f"{key[0]} {key[1]} V")
@pytest.mark.parametrize(("below_v", "longer_s"), [(0.6, 0.0), (0.0, 0.060)])
def test_deeper_or_longer_than_the_profile_fails(key: tuple[str, int], below_v: float, longer_s: float) -> None:
    found = supply_of(DRAWN[key], limits_by(*key), below_v, longer_s)
    assert found.result == "fail", found.reason


def test_the_command_writes_it_and_it_reads_back(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    with pytest.raises(SystemExit) as left:
        main(["limits", "write", str(file), "--profile", "iv"])
    assert left.value.code == 0
    assert read_limits(file).values == limits_by("IV", 12).values
    with pytest.raises(SystemExit) as left:
        main(["limits", "write", str(tmp_path / "other.toml"), "--system", "24", "--profile", "I"])
    assert left.value.code == 2
    assert not (tmp_path / "other.toml").exists()
