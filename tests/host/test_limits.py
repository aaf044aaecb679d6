"""Limits: the shipped sets, edited files, and every way an edit can go wrong."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from firstcrank.errors import LimitsError
from firstcrank.limits import ORDERED, SPECS, Limits, parse_limits, read_limits, shipped, shipped_text


@pytest.mark.parametrize("system_v", [12, 24])
def test_shipped_sets_are_whole_and_say_where_each_number_comes_from(system_v: int) -> None:
    limits = shipped(system_v)
    assert set(limits.values) == set(SPECS)
    assert all(len(limits.sources[key]) > 8 or limits.sources[key] == "our choice" for key in SPECS)


def test_the_borrowed_minimum_says_borrowed() -> None:
    assert shipped(12)["module_minimum_v"] == 7.0
    assert "borrowed" in shipped(12).sources["module_minimum_v"]


@pytest.mark.parametrize("key", ["feed_drop_warn_v", "feed_drop_fail_v", "feed_drop_loaded_fail_v"])
def test_24_v_doubles_the_drops(key: str) -> None:
    assert shipped(24)[key] == 2 * shipped(12)[key]


def test_an_edited_file_keeps_what_it_leaves_out(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("\ufeffsystem_v = 24\nmodule_minimum_v = 9.0\n", "utf-8")
    limits = read_limits(file)
    assert limits["module_minimum_v"] == 9.0
    assert limits["crank_min_s"] == shipped(24)["crank_min_s"]
    assert str(file) in limits.sources["module_minimum_v"]


def test_the_shipped_text_reads_back() -> None:
    assert tomllib.loads(shipped_text(12))["module_minimum_v"]["value"] == 7.0


@pytest.mark.parametrize("key", sorted(SPECS))
def test_out_of_range_names_key_and_range(key: str) -> None:
    spec = SPECS[key]
    for value in (spec.high + 1, -1.0):
        with pytest.raises(LimitsError, match=rf"{key} is .* must lie between {spec.low:g} and {spec.high:g}"):
            parse_limits(f"{key} = {value}", "edit", base=shipped(12))


@pytest.mark.parametrize(("lower", "upper"), ORDERED)
def test_swapped_limits_are_refused(lower: str, upper: str) -> None:
    values = dict(shipped(12).values)
    values[lower] = min(SPECS[lower].high, values[upper] * 1.01)
    if values[lower] <= values[upper]:
        values[upper] = values[lower] * 0.9
    for one, two in ORDERED:  # only this pair is out of order
        if one == lower and two != upper:
            values[two] = max(values[two], values[one])
    with pytest.raises(LimitsError, match=f"{lower} .* must not exceed {upper}"):
        Limits(12, values, {}, "edit")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("modul_minimum_v = 7", "no limit called 'modul_minimum_v'"),
        ('module_minimum_v = "seven"', "must be a number"),
        ("module_minimum_v = true", "must be a number"),
        ("module_minimum_v = nan", "must lie between"),
        ("system_v = 6", "must be 12 or 24"),
        ('system_v = "12"', "must be 12 or 24"),
        ("module_minimum_v = = 7", "line 1"),
    ],
)
def test_a_bad_file_is_refused_with_the_reason(tmp_path: Path, text: str, expected: str) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(text)
    with pytest.raises(LimitsError, match=expected):
        read_limits(file)


def test_json_round_trip() -> None:
    limits = shipped(12)
    assert Limits.from_json(limits.to_json()) == limits


def test_a_recording_of_an_older_version_gets_the_shipped_value_of_a_limit_it_does_not_know() -> None:
    table: dict[str, Any] = {**shipped(24).to_json()}
    del table["values"]["module_wake_v"], table["sources"]["module_wake_v"]
    table["values"]["feed_drop_warn_v"] = 1.25
    table["values"]["of_a_later_version"] = 3.0
    limits = Limits.from_json(table)
    assert limits["module_wake_v"] == shipped(24)["module_wake_v"]
    assert "older" in limits.sources["module_wake_v"]
    assert limits["feed_drop_warn_v"] == 1.25
    assert "of_a_later_version" not in limits.values
    assert Limits.from_json(shipped(12).to_json()) == shipped(12)
