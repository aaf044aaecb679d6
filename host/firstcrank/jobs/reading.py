"""How a start's file was read and what was answered beside it, so that it reads the same again: from the record, years later."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import cast

from firstcrank.calibration import Calibration
from firstcrank.model.context import ANSWERS, Answers, Context
from firstcrank.recording import Meta, Recording
from firstcrank.tracefiles.csv import parse_uncertainty
from firstcrank.tracefiles.table import load


@dataclass(frozen=True, slots=True)
class Reading:
    """How a file is read, and what was answered beside it.

    Attributes:
        columns: Role to its column of a CSV.
        uncertainty: Its logger's limit of error as typed, such as "0.5%+20mV"; empty for the usual one.
        recorded_utc: When it was recorded, ISO 8601, where the file names none.
        answers: By name (model/context.py), over those in the file.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    uncertainty: str = ""
    recorded_utc: str = ""
    answers: Answers = field(default_factory=Answers)

    def to_json(self) -> str:
        """Text for a start's column; from_json undoes it.

        Returns:
            One line; empty where there is nothing to keep.
        """
        return "" if self == Reading() else json.dumps(asdict(self), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Reading:
        """Undoes to_json; what another version wrote beside is passed over.

        Args:
            text: Of a start's column; empty for nothing.

        Returns:
            The reading.

        Raises:
            ValueError: The text is no JSON.
        """
        table = json.loads(text) if text else {}
        answers = {name: value for name, value in table.get("answers", {}).items() if name in ANSWERS}
        return cls(
            table.get("columns", {}), table.get("uncertainty", ""), table.get("recorded_utc", ""), cast(Answers, answers)
        )

    def load(self, path: Path, calibration: Calibration | None = None) -> Recording:
        """The recording, read in this way.

        Args:
            path: Any file that load reads.
            calibration: Used instead of the one in a recording.

        Returns:
            The recording with these answers over its own.

        Raises:
            UnreadableTraceError: The file cannot be read as a trace.
            UsageError: `columns` or `uncertainty` cannot be used, or the calibration does not fit.
        """
        accuracy = parse_uncertainty(self.uncertainty) if self.uncertainty else None
        recording = load(path, calibration, self.columns, accuracy)
        meta: Meta = {**recording.meta, "recorded_utc": self.recorded_utc} if self.recorded_utc else recording.meta
        return replace(recording, context=replace(recording.context, **self.answers), meta=meta)


def with_answers(reading: Reading, context: Context) -> Reading:
    """With every answer that the judge was given, so that the record knows them without opening the recording."""
    plain = Context()
    given = {name: getattr(context, name) for name in ANSWERS if getattr(context, name) != getattr(plain, name)}
    return replace(reading, answers=cast(Answers, {**reading.answers, **given}))


def read_again(content: bytes, file_name: str, calibration_json: str = "", reading_json: str = "") -> Recording:
    """A kept recording by its bytes and the columns of its start, read as it was when it was filed. Raises as Reading.load."""
    calibration = Calibration.from_json(json.loads(calibration_json)) if calibration_json else None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("start" + (Path(file_name).suffix or ".fcr"))
        path.write_bytes(content)
        return Reading.from_json(reading_json).load(path, calibration)
