"""What the recording cannot show and the person was asked."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TypedDict


@dataclass(frozen=True, slots=True)
class Context:
    """What was answered. None: not asked, so it is stated as an assumption.

    Attributes:
        cranked_with_key: Cranked with the vehicle's own key or start button.
        module_plugged_in: The engine module was plugged in.
        feed_kind: What the key feed carries: "signal", or "loaded" for real current.
        cylinders: Of the engine, for the crank speed.
        temperature_c: Of the air, °C: kept with the recording, not judged by.
        charger_connected: A charger or jump pack was connected.
        engine_running: It ran by itself after the crank.
        known_load_ohm: Test load at the module's plug, ohms.
        hold_on_s: How long the module holds itself on after key off, seconds, maker's figure.
    """

    cranked_with_key: bool | None = None
    module_plugged_in: bool | None = None
    feed_kind: str = "signal"
    cylinders: int | None = None
    temperature_c: float | None = None
    charger_connected: bool | None = None
    engine_running: bool | None = None
    known_load_ohm: float | None = None
    hold_on_s: float | None = None


class Answers(TypedDict, total=False):
    """Those of Context that were given, by name: what a note, the record and the command line hold."""

    cranked_with_key: bool | None
    module_plugged_in: bool | None
    feed_kind: str
    cylinders: int | None
    temperature_c: float | None
    charger_connected: bool | None
    engine_running: bool | None
    known_load_ohm: float | None
    hold_on_s: float | None


ANSWERS = tuple(field.name for field in fields(Context))
