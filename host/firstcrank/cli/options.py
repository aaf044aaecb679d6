"""What the shared options of the commands hold once click has read them, by the name of each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NotRequired, TypedDict

if TYPE_CHECKING:
    from firstcrank.analysis.live import Watch


class LimitsOptions(TypedDict):
    """Which limits and which calibration."""

    limits_file: Path | None
    system: str | None
    calibration_file: Path | None


class JudgingOptions(LimitsOptions):
    """And the answers (model/context.py): None where an option was not given."""

    cranked_with_key: bool | None
    module_plugged_in: bool | None
    feed_kind: str | None
    cylinders: int | None
    temperature_c: float | None
    charger_connected: bool | None
    engine_running: bool | None
    known_load_ohm: float | None
    hold_on_s: float | None


class BoardOptions(LimitsOptions):
    """Which port and which leads, for every command that samples."""

    port: str | None
    leads: tuple[str, ...]
    plain: bool


class StreamOptions(BoardOptions):
    """Of the commands that show readings as they come."""

    seconds: float
    csv: Path | None


class RecordingOptions(BoardOptions, JudgingOptions):
    """Of the commands that record. `compare_with`: the start that the new one is shown beside."""

    out: Path | None
    job: str | None
    store: str | None
    bin_ms: float
    acquisition: str
    yes: bool
    watch: Watch
    longest_s: float
    compare_with: NotRequired[int]


class FiledOptions(JudgingOptions):
    """Of the commands that judge what may stand in a record store."""

    place: str | None
