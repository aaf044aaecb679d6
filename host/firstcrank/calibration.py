"""The calibration of a board: the line of each input (channel_calibration.py), and where it comes from.

A calibration is either measured (against a meter) or nominal (from resistor values and tolerances, larger uncertainty).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, NotRequired, TypedDict, cast

from firstcrank import converters
from firstcrank.channel_calibration import TERMS, ChannelCalibration, ChannelTable
from firstcrank.converters import CODES
from firstcrank.errors import CalibrationError
from firstcrank.nominal_line import nominal_channel
from firstcrank.roles import ROLES
from firstcrank.toml_file import finite, one_line, read_toml, shown, text_at

__all__ = ("CODES", "OLDER", "TERMS", "Calibration", "ChannelCalibration", "nominal_channel", "read_calibration")

OLDER = "older calibration: steps, drift, leakage and settling are taken as usual for such a board"
NAMES = ("converter", "clamp")


class CalibrationTable(TypedDict):
    """A calibration as plain values."""

    kind: Annotated[str, "`measured` or `nominal` (by resistor values)"]
    date: NotRequired[Annotated[str, "ISO 8601; empty where not known"]]
    meter: NotRequired[Annotated[str, "what it was measured with"]]
    board: NotRequired[Annotated[str, "the board's unique number"]]
    notes: NotRequired[list[str]]
    channels: Annotated[dict[str, ChannelTable], "by role"]


@dataclass(frozen=True, slots=True)
class Calibration:
    """One line per role.

    Attributes:
        kind: "measured" or "nominal".
        channels: Role to its line.
        date: When it was made, ISO 8601.
        meter: What it was measured with.
        board: Id of the board that it belongs to; empty where it is of none.
        notes: Plain lines about it worth showing.

    Raises:
        CalibrationError: The kind or a role is unknown.
    """

    kind: str
    channels: Mapping[str, ChannelCalibration]
    date: str = ""
    meter: str = ""
    board: str = ""
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.kind not in ("measured", "nominal"):
            raise CalibrationError(f"calibration kind is {self.kind!r}, must be 'measured' or 'nominal'")
        for role in self.channels:
            if role not in ROLES:
                raise CalibrationError(f"calibration names the role {role!r}; roles are {', '.join(ROLES)}")

    def channel(self, role: str) -> ChannelCalibration:
        """The line of one role.

        Args:
            role: As in roles.ROLES.

        Returns:
            From codes of that input to volts.

        Raises:
            CalibrationError: The calibration has no line for it.
        """
        if role not in self.channels:
            raise CalibrationError(f"the calibration has no line for {role}: calibrate that input or name another file")
        return self.channels[role]

    def to_json(self) -> CalibrationTable:
        """Plain values for a recording, the board and the record store; from_json undoes it.

        Returns:
            `kind`, `date`, `meter`, `board`, `notes`, and `channels`: role to the table of its line.
        """
        return {
            "kind": self.kind,
            "date": self.date,
            "meter": self.meter,
            "board": self.board,
            "notes": list(self.notes),
            "channels": {role: line.to_json() for role, line in self.channels.items()},
        }

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Calibration:
        """Undoes to_json.

        Args:
            data: `kind`, `channels` (role to the table of its line), and `date`, `meter`, `board`, `notes` where there are any.

        Returns:
            The calibration, checked; where a line is of an older version, a note says which terms it was given.

        Raises:
            CalibrationError: A key is missing or holds what it must not. In one line.
        """
        try:
            if not isinstance(data.get("notes", []), list | tuple):
                raise ValueError("notes must be a list")
            notes = [text_at({"note": note}, "note") for note in cast("list[object]", data.get("notes", ()))]
            tables = cast("Mapping[str, Mapping[str, object]]", data["channels"])
            if any("terms" not in table for table in tables.values()) and OLDER not in notes:
                notes.append(OLDER)
            return cls(
                kind=_required(data, "kind"),
                date=text_at(data, "date"),
                meter=text_at(data, "meter"),
                board=text_at(data, "board"),
                notes=tuple(notes),
                channels={role: ChannelCalibration.from_json(table) for role, table in tables.items()},
            )
        except KeyError as error:
            raise CalibrationError(f"calibration cannot be used: {one_line(error)} is missing") from error
        except (TypeError, ValueError, AttributeError, RecursionError) as error:
            raise CalibrationError(f"calibration cannot be used: {one_line(error)}") from error


def read_calibration(path: Path, converter: str | None = None) -> Calibration:
    """A calibration from a TOML file.

    Either `kind = "measured"` with `[channels.ROLE]` tables of the keys to_json writes, or `kind = "nominal"` with
    `[channels.ROLE]` tables of r_top_ohm, r_bottom_ohm, tolerance_rel and optional reference_v, reference_tolerance_rel, filter_f,
    input_ohm, r_lift_ohm, r_series_ohm, converter, clamp: the parameters of nominal_channel.

    Args:
        path: The file.
        converter: Of a nominal file only: the converter behind the inputs of tables that name none; unless it is the RP2040's, with
            its own input resistance. A key of converters.CONVERTERS.

    Returns:
        The calibration, checked; a nominal one notes the file's name.

    Raises:
        CalibrationError: The file can't be read, lacks a key or holds what it must not. Names file and key.
    """
    data = read_toml(path, CalibrationError)
    try:
        if data.get("kind") != "nominal":
            return Calibration.from_json(data)
        tables = data.get("channels", {})
        if not isinstance(tables, dict):
            raise CalibrationError("channels must be tables, [channels.battery] and so on")
        channels = {role: _nominal(role, table, converter) for role, table in tables.items()}
        return Calibration(kind="nominal", channels=channels, date=str(data.get("date", "")), notes=(str(path),))
    except CalibrationError as error:
        raise CalibrationError(f"{path}: {error}") from error


def _nominal(role: str, table: object, behind: str | None) -> ChannelCalibration:
    if not isinstance(table, dict):
        raise CalibrationError(f"channels.{role} is {shown(table)}, must be a table of resistor values")
    try:
        names = {key: text_at(table, key) for key in NAMES if key in table}
        numbers = {key: finite(key, value) for key, value in table.items() if key not in NAMES}
        if behind is not None and "converter" not in names:
            names["converter"] = behind
            if behind != "rp2040":
                numbers["input_ohm"] = converters.converter(behind).input_ohm
        return nominal_channel(**numbers, **names)  # type: ignore[arg-type]
    except (CalibrationError, TypeError, ValueError) as error:
        raise CalibrationError(f"channels.{role}: {one_line(error)}") from error


def _required(table: Mapping[str, object], key: str) -> str:
    if key not in table:
        raise KeyError(key)
    return text_at(table, key)
