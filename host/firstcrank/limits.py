"""Limits: every number the judge compares with, each with its unit, allowed range and source.

The engine maker's figure always wins over a shipped one. `firstcrank limits write` puts the shipped set into a
file to edit; a key may be a plain number or a table of `value` and `source`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Annotated, TypedDict

from firstcrank.errors import LimitsError
from firstcrank.toml_file import finite, number, one_line, parse_toml, read_toml, shown

SYSTEMS_V = (12, 24)


@dataclass(frozen=True, slots=True)
class LimitSpec:
    """One limit: its key, unit, allowed range (both ends included) and what it means in one line."""

    key: str
    unit: str
    low: float
    high: float
    meaning: str


class LimitsTable(TypedDict):
    """Limits as plain values."""

    system_v: Annotated[int, "12 or 24"]
    name: Annotated[str, "of the set: a file, or the shipped one"]
    values: Annotated[dict[str, float], "by the limit's key, in its unit (`firstcrank limits show`)"]
    sources: Annotated[dict[str, str], "by the limit's key: who says so"]


SPECS: Mapping[str, LimitSpec] = {
    spec.key: spec
    for spec in (
        LimitSpec("module_minimum_v", "V", 1.0, 30.0, "lowest key-feed voltage at which the module runs"),
        LimitSpec("feed_off_v", "V", 0.1, 10.0, "below this the key feed counts as dead"),
        LimitSpec("feed_live_v", "V", 3.0, 30.0, "above this the key feed counts as live"),
        LimitSpec("dropout_min_s", "s", 1e-5, 1.0, "shortest dropout that counts"),
        LimitSpec("turn_bounce_max_s", "s", 1e-5, 1.0, "one bounce shorter than this while the key turns only warns"),
        LimitSpec("dropout_total_max_s", "s", 1e-5, 10.0, "total time of shorter dropouts that still only warns"),
        LimitSpec("feed_drop_warn_v", "V", 0.01, 10.0, "steady drop from source to feed that warns"),
        LimitSpec("feed_drop_fail_v", "V", 0.01, 10.0, "steady drop that fails, signal-level feed"),
        LimitSpec("feed_drop_loaded_fail_v", "V", 0.01, 10.0, "steady drop that fails, feed that carries real current"),
        LimitSpec("feed_drop_brief_fail_v", "V", 0.01, 20.0, "worst 10 ms mean drop that fails"),
        LimitSpec("chatter_count", "", 2.0, 1000.0, "dropouts within the chatter window that make chatter"),
        LimitSpec("chatter_window_s", "s", 0.01, 60.0, "chatter window"),
        LimitSpec("crank_min_s", "s", 0.1, 30.0, "shortest crank that can pass"),
        LimitSpec("crank_min_running_s", "s", 0.05, 30.0, "shortest crank that can pass if the engine then runs on"),
        LimitSpec("run_on_s", "s", 1.0, 60.0, "running by itself for this long makes a short crank count"),
        LimitSpec("after_release_s", "s", 0.5, 60.0, "watched this long after the starter lets go"),
        LimitSpec(
            "supply_dip_max_s",
            "s",
            1e-4,
            5.0,
            "the module rides through dips of its supply below its minimum, together, of this",
        ),
        LimitSpec("supply_dip_lowest_v", "V", 0.5, 30.0, "and no deeper than this"),
        LimitSpec("battery_rest_warn_v", "V", 1.0, 40.0, "battery at rest below this warns: charge first"),
        LimitSpec("battery_rest_charger_v", "V", 1.0, 40.0, "battery at rest above this: a charger or jump pack is on"),
        LimitSpec("battery_crank_warn_v", "V", 1.0, 40.0, "battery mean while cranking below this warns"),
        LimitSpec(
            "starter_control_drop_fail_v", "V", 0.05, 10.0, "drop of the starter's control circuit, both sides, that fails"
        ),
        LimitSpec("heater_drop_fail_v", "V", 0.05, 20.0, "drop from battery to the intake heater's solenoid that fails"),
        LimitSpec("module_supply_drop_fail_v", "V", 0.05, 10.0, "drop of the module's own supply while cranking that fails"),
        LimitSpec("module_loop_fail_ohm", "ohm", 0.001, 1.0, "loop resistance of the module's supply that fails"),
        LimitSpec("module_ground_rise_fail_v", "V", 0.05, 10.0, "rise of the module's ground while cranking that fails"),
        LimitSpec("engine_ground_rise_fail_v", "V", 0.05, 10.0, "rise of the engine's ground while cranking that fails"),
        LimitSpec("module_wake_v", "V", 0.5, 30.0, "above this after key off the module stays awake"),
        LimitSpec("charge_low_v", "V", 5.0, 40.0, "battery with the engine running below this warns"),
        LimitSpec("charge_high_v", "V", 5.0, 40.0, "battery with the engine running above this warns"),
        LimitSpec("crank_speed_warn_rpm", "rpm", 20.0, 500.0, "crank speed below this warns"),
        LimitSpec("battery_dip_warn_v", "V", 1.0, 40.0, "lowest battery voltage below this warns"),
    )
}


@dataclass(frozen=True, slots=True)
class Limits:
    """A checked set of limits for one system voltage. `limits[key]` is the value, in the unit of `SPECS[key]`.

    Attributes:
        system_v: 12 or 24, volts.
        values: Key to its value, in the unit of `SPECS[key]`: every key of SPECS.
        sources: Key to where its value comes from, plain text.
        name: What the set is called in messages and reports.

    Raises:
        LimitsError: A limit is missing or out of its range, two contradict each other, or the system is neither 12 nor 24 V.
    """

    system_v: int
    values: Mapping[str, float]
    sources: Mapping[str, str]
    name: str

    def __getitem__(self, key: str) -> float:
        """One limit.

        Args:
            key: A key of SPECS.

        Returns:
            Its value, in the unit of `SPECS[key]`.

        Raises:
            KeyError: There is no such limit.
        """
        return self.values[key]

    def __post_init__(self) -> None:
        if self.system_v not in SYSTEMS_V:
            raise LimitsError(f"system_v is {self.system_v}, must be 12 or 24 (no 6 V, no positive earth)")
        for key, spec in SPECS.items():
            if key not in self.values:
                raise LimitsError(f"{self.name}: the limit {key} is missing")
            value = self.values[key]
            if not (math.isfinite(value) and spec.low <= value <= spec.high):
                raise LimitsError(
                    f"{self.name}: {key} is {value:g} {spec.unit}, must lie between {spec.low:g} and {spec.high:g}"
                )
        for lower, upper in ORDERED:
            if not self.values[lower] <= self.values[upper]:
                raise LimitsError(
                    f"{self.name}: {lower} ({self.values[lower]:g}) must not exceed {upper} ({self.values[upper]:g})"
                )

    def to_json(self) -> LimitsTable:
        """Plain values for a recording and the record store; from_json undoes it.

        Returns:
            `system_v`, `name`, `values`, `sources`.
        """
        return {
            "system_v": self.system_v,
            "name": self.name,
            "values": dict(self.values),
            "sources": dict(self.sources),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Limits:
        """Undoes to_json.

        A limit that an older version did not have gets the shipped value, one of a newer version is left out: old
        recordings stay readable.

        Args:
            data: `system_v`, `name`, `values`, `sources`.

        Returns:
            The set, checked.

        Raises:
            LimitsError: A limit is out of range or what is there is no set of limits.
        """
        since = "not in the recording, which is older than this limit: shipped value"
        try:
            system_v, given, stated = int(number(data, "system_v")), data["values"], data["sources"]
            if not isinstance(given, Mapping) or not isinstance(stated, Mapping):
                raise ValueError("values and sources must be tables")
            base = shipped(system_v)
            values = {k: number(given, k, base[k]) for k in SPECS}
            sources = {k: str(stated.get(k, "")) if k in given else since for k in SPECS}
            return cls(system_v, _following(values, given), sources, str(data["name"]))
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise LimitsError(f"limits cannot be used: {one_line(error)}") from error


# Pairs that a swapped edit would break: the first must not exceed the second.
ORDERED = (
    ("feed_off_v", "feed_live_v"),
    ("supply_dip_lowest_v", "module_minimum_v"),
    ("dropout_min_s", "supply_dip_max_s"),
    ("feed_drop_warn_v", "feed_drop_fail_v"),
    ("feed_drop_loaded_fail_v", "feed_drop_fail_v"),
    ("feed_drop_fail_v", "feed_drop_brief_fail_v"),
    ("dropout_min_s", "turn_bounce_max_s"),
    ("crank_min_running_s", "crank_min_s"),
    ("battery_rest_warn_v", "battery_rest_charger_v"),
    ("charge_low_v", "charge_high_v"),
)


def shipped_text(system_v: int) -> str:
    """The shipped limits file for a 12 or 24 V system, as text to edit."""
    if system_v not in SYSTEMS_V:
        raise LimitsError(f"no shipped limits for {system_v} V: only 12 and 24 V systems, negative earth")
    return resources.files("firstcrank.data").joinpath(f"limits_{system_v}v.toml").read_text("utf-8")


def shipped(system_v: int) -> Limits:
    """The shipped limits for a 12 or 24 V system.

    Args:
        system_v: 12 or 24, volts.

    Returns:
        Every limit with its source.

    Raises:
        LimitsError: There are none for that voltage.
    """
    return parse_limits(shipped_text(system_v), f"shipped {system_v} V limits", base=None)


def read_limits(path: Path) -> Limits:
    """Limits from a TOML file; keys left out keep the shipped value of its system_v.

    Args:
        path: A file with `system_v` (12 where it is left out) and keys of SPECS: a number, or a table of `value` and `source`.

    Returns:
        Every limit with its source.

    Raises:
        LimitsError: The file can't be read, or has an unknown key or a value outside its range. Names file, key and range.
    """
    data = read_toml(path, LimitsError)
    system_v = data.get("system_v", 12)
    if isinstance(system_v, bool) or system_v not in SYSTEMS_V:
        raise LimitsError(f"{path}: system_v is {shown(system_v)}, must be 12 or 24")
    return _limits(data, str(path), base=shipped(int(system_v)))


def parse_limits(text: str, name: str, base: Limits | None) -> Limits:
    """Limits from TOML text. Raises LimitsError naming the key and the allowed range."""
    return _limits(parse_toml(text, name, LimitsError), name, base)


def _limits(data: dict[str, object], name: str, base: Limits | None) -> Limits:
    values: dict[str, float] = dict(base.values) if base else {}
    sources: dict[str, str] = dict(base.sources) if base else {}
    system_v = data.pop("system_v", base.system_v if base else None)
    for key, entry in data.items():
        if key not in SPECS:
            raise LimitsError(f"{name}: there is no limit called {shown(key)}; known: {', '.join(sorted(SPECS))}")
        value, source = (entry.get("value"), entry.get("source", "")) if isinstance(entry, dict) else (entry, "")
        try:
            values[key] = finite(key, value)
        except ValueError as error:
            spec = SPECS[key]
            raise LimitsError(f"{name}: {error}; it must lie between {spec.low:g} and {spec.high:g}") from error
        sources[key] = str(source) or f"set in {name}"
    return Limits(system_v if system_v in SYSTEMS_V else 0, _following(values, data), sources, name)


def _following(values: dict[str, float], given: Mapping[str, object]) -> dict[str, float]:
    """What a module rides through follows its minimum and the shortest dropout where nobody set it: a set that knows neither is whole."""
    values = dict(values)
    if "supply_dip_lowest_v" not in given and "module_minimum_v" in given:
        values["supply_dip_lowest_v"] = min(values["supply_dip_lowest_v"], values["module_minimum_v"])
    if "supply_dip_max_s" not in given and "dropout_min_s" in given:
        values["supply_dip_max_s"] = max(values["supply_dip_max_s"], values["dropout_min_s"])
    return values
