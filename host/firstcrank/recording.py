"""A recording read back: its trace and everything that was embedded beside the frames."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypedDict

from firstcrank.calibration import Calibration
from firstcrank.limits import Limits
from firstcrank.model.context import Context
from firstcrank.trace import Trace
from firstcrank.wire_bodies import ChannelBody


class Meta(TypedDict, total=False):
    """Where a recording came from; empty for another logger's file. None where its own file does not say.

    `recorded_utc` ISO 8601. `board_said`: verdict and why of a board that judged alone. `counters`: the board's at its end.
    """

    recording_id: str
    board: str | None
    chip: str | None
    firmware: str | None
    micropython: str | None
    acquisition: str | None
    host_version: str | None
    recorded_utc: str | None
    board_said: tuple[str, str] | None
    synthetic: bool
    counters: dict[str, object]
    channels: list[ChannelBody] | None


@dataclass(frozen=True, slots=True)
class Recording:
    """What a trace file holds.

    Attributes:
        trace: The readings, in volts and seconds.
        context: What was answered beside them.
        calibration: From codes to volts; None where the file embeds none (a CSV).
        limits: What it was recorded with; None where the file embeds none (a CSV).
        meta: Where it came from; empty for another logger's file.
    """

    trace: Trace
    context: Context
    calibration: Calibration | None = None
    limits: Limits | None = None
    meta: Meta = field(default_factory=Meta)
