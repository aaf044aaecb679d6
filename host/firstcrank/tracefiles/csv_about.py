"""What an export of ours says of itself before its rows, so that judging the export comes to the recording's verdict.

Lines `# firstcrank: KEY = JSON`, the last of them a checksum over all before it. The rows are bound to them by their number and
hash. Where a line is lost, altered or moved, nothing of them is taken: the trace's integrity says so.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import TypedDict, cast

from firstcrank.model.context import Answers
from firstcrank.recording import Meta, Recording
from firstcrank.trace import Hole, Uncertainty
from firstcrank.tracefiles.csv_cells import ABOUT
from firstcrank.tracefiles.native import context_to_json

FORMAT = 1
SHOWN_META = (
    "recording_id",
    "board",
    "chip",
    "firmware",
    "micropython",
    "acquisition",
    "host_version",
    "recorded_utc",
    "board_said",
    "synthetic",
)


class HoleTable(TypedDict):
    """One hole of the trace."""

    start_s: float
    end_s: float
    why: str


class AboutTable(TypedDict, total=False):
    """What `about` writes, and with it the number and hash of the rows."""

    format: int
    kind: str
    complete: bool
    meta: Meta
    answers: Answers
    limits: dict[str, object] | None
    calibration: dict[str, object] | None
    channels: dict[str, dict[str, float | None]]
    trigger_v: float | None
    holes: list[HoleTable]
    integrity: list[str]
    notes: list[str]
    uncalibrated: bool
    rows: int
    rows_sha256: str


def about(recording: Recording) -> dict[str, object]:
    """Everything that is not a reading and that a verdict or a report of it needs, as plain values."""
    trace = recording.trace
    return {
        "format": FORMAT,
        "kind": trace.kind,
        "complete": trace.complete,
        "meta": {name: recording.meta.get(name) for name in SHOWN_META},
        "answers": context_to_json(recording.context),
        "limits": recording.limits.to_json() if recording.limits else None,
        "calibration": recording.calibration.to_json() if recording.calibration else None,
        "channels": {
            role: {
                **asdict(c.uncertainty),
                "full_scale_v": c.full_scale_v,
            }
            for role, c in trace.channels.items()
        },
        "trigger_v": trace.runs.trigger_v if trace.runs else None,
        "holes": [{"start_s": h.start_s, "end_s": h.end_s, "why": h.why} for h in trace.holes],
        "integrity": list(trace.integrity),
        "notes": list(trace.notes),
        "uncalibrated": bool(trace.origin.get("uncalibrated")),
    }


def lines_of(table: Mapping[str, object]) -> list[str]:
    """The lines of a table, the checksum's line behind them."""
    lines = [f"{ABOUT} {key} = {json.dumps(value, ensure_ascii=True, sort_keys=True)}" for key, value in table.items()]
    return [*lines, f'{ABOUT} checksum = "{_checksum(lines)}"']


def _checksum(lines: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(lines).encode("utf-8")).hexdigest()


def table_of(lines: Sequence[str]) -> AboutTable | None:
    """The table that lines_of wrote; None where any line of it is not as written."""
    lines = [line.rstrip() for line in lines]
    if not lines or lines[-1] != f'{ABOUT} checksum = "{_checksum(lines[:-1])}"':
        return None
    table: dict[str, object] = {}
    for line in lines[:-1]:
        key, _, text = line.removeprefix(ABOUT).partition("=")
        try:
            table[key.strip()] = json.loads(text)
        except (ValueError, RecursionError):
            return None
    return cast(AboutTable, table)


def uncertainty_of(table: AboutTable, role: str) -> tuple[Uncertainty, float | None]:
    """Uncertainty and full scale of a lead. Raises LookupError, TypeError or ValueError where the table lacks them."""
    channel = table["channels"][role]
    top_v = channel["full_scale_v"]
    terms = {f.name: float(cast("float", channel[f.name])) for f in fields(Uncertainty)}
    return Uncertainty(**terms), None if top_v is None else float(top_v)


def holes_of(table: AboutTable) -> tuple[Hole, ...]:
    """The holes. Raises LookupError, TypeError or ValueError."""
    return tuple(Hole(float(h["start_s"]), float(h["end_s"]), str(h["why"])) for h in table["holes"])
