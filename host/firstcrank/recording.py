"""A recording read back: its trace and everything that was embedded beside the frames."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from firstcrank.calibration import Calibration
from firstcrank.limits import Limits
from firstcrank.model.context import Context
from firstcrank.trace import Trace


@dataclass(frozen=True, slots=True)
class Recording:
    """What a trace file holds. `calibration` and `limits` are None where the file embeds none (a CSV)."""

    trace: Trace
    context: Context
    calibration: Calibration | None = None
    limits: Limits | None = None
    meta: dict[str, Any] = field(default_factory=dict)
