"""Everything a report says, gathered once for HTML and PDF alike, in the order in which it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from firstcrank.limits import SPECS, Limits
from firstcrank.model.judgement import Finding, Judgement
from firstcrank.recording import Recording
from firstcrank.units import MS_PER_S

TITLE = "First-start record"
MOST_CLOSE_UPS = 4
PLAIN = {
    "PASS": "The wire that switches the engine's computer on kept its voltage through the whole start.",
    "FAIL": "The wire that switches the engine's computer on, or the battery behind it, did not keep its voltage. "
    "This is a wiring or supply fault; it can keep a sound engine from starting.",
    "NO VERDICT": "The recording does not show enough to say whether the wiring is good. It must be repeated.",
}
WORDS = {"pass": "ok", "fail": "FAIL", "warn": "note", "no verdict": "undecided", "not measured": "not measured"}
CAUTIONS = (
    "This record is about the circuits listed under what was tested, on this one start. It says nothing of anything else.",
    "Before cranking again: neutral, brake on, wheels chocked, nobody near belts and fan; no starting fluid with an intake "
    "heater; starter 30 s at most, then 2 minutes' rest.",
    "The engine maker's instructions, local codes and licensed practice come first.",
)


@dataclass(frozen=True, slots=True)
class Facts:
    """Plain texts and rows. Nothing in it is markup: whoever shows it escapes it."""

    recording: Recording
    judgement: Judgement
    limits: Limits
    content_hash: str
    job: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[Mapping[str, Any], ...] = ()
    measurements: tuple[Mapping[str, Any], ...] = ()
    shop_name: str = ""
    shop_logo: bytes = b""
    start_name: str = ""

    @property
    def made(self) -> str:
        """When this page was made, local time with its offset."""
        return datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %z")

    @property
    def recorded(self) -> str:
        """When the start was recorded, local time; as given where it cannot be read."""
        return local_time(str(self.recording.meta.get("recorded_utc") or ""))

    def head_rows(self) -> list[tuple[str, str]]:
        """Job, vehicle, time, technician; only what is known."""
        job = self.job
        rows = [
            ("Job", job.get("number", "")),
            ("Start", self.start_name),
            ("Vehicle", job.get("vehicle", "")),
            ("VIN", job.get("vin", "")),
            ("Odometer", job.get("odometer", "")),
            ("Engine", job.get("engine", "")),
            ("Recorded", self.recorded),
            ("Technician", job.get("technician", "")),
        ]
        if self.recording.meta.get("synthetic"):
            rows.append(("Data", "simulated, no vehicle"))
        return [(name, str(value)) for name, value in rows if value]

    def tested(self) -> list[str]:
        """One line a circuit that was judged."""
        heads = {"key_feed": "Key-switch feed at the module's plug", "battery": "Battery at rest and while cranking"}
        found = {f.check.split("_")[0] for f in self.judgement.findings if f.result != "not measured"}
        lines = [text for key, text in heads.items() if key.split("_")[0] in found]
        others = sorted({f.check.split(".")[0] for f in self.judgement.findings if f.result != "not measured"})
        lines += [o.replace("_", " ") for o in others if not o.startswith(("key_feed", "battery"))]
        return lines

    def finding_rows(self) -> list[tuple[str, str, str, str, str]]:
        """(result, what, measured, uncertainty, limit) with units."""
        return [
            (WORDS[f.result], sentence(f.reason), number(f, f.measured), number(f, f.uncertainty), number(f, f.limit))
            for f in self.judgement.findings
            if f.result != "not measured"
        ]

    def board_rows(self) -> list[tuple[str, str]]:
        """Board, firmware, host, calibration."""
        meta, calibration = self.recording.meta, self.recording.calibration
        rows = [
            ("Board", meta.get("board")),
            ("Chip", meta.get("chip")),
            ("Firmware", meta.get("firmware")),
            ("Sampling", meta.get("acquisition")),
            ("Program", f"firstcrank {meta.get('host_version')}" if meta.get("host_version") else ""),
            ("Calibration", f"{calibration.kind}, {calibration.date or 'no date'}" if calibration else "none of ours"),
            ("Meter", calibration.meter if calibration else ""),
        ]
        return [(name, str(value)) for name, value in rows if value]

    def limit_rows(self) -> list[tuple[str, str, str]]:
        """(what, value with unit, source)."""
        return [
            (spec.meaning, f"{self.limits[key]:g} {spec.unit}".strip(), self.limits.sources.get(key, ""))
            for key, spec in SPECS.items()
        ]


def sentence(text: str) -> str:
    """First letter large."""
    return text[:1].upper() + text[1:]


def number(finding: Finding, value: float | None) -> str:
    """With its unit as a person reads it; seconds below 1 s as milliseconds."""
    if value is None:
        return ""
    if finding.unit == "s":
        return f"{value * MS_PER_S:.3g} ms" if abs(value) < 1 else f"{value:.2f} s"
    return f"{value:.3g} {finding.unit}".strip()


def local_time(utc: str) -> str:
    """UTC text as local time with its offset; the text itself where it is none."""
    try:
        when = datetime.fromisoformat(utc)
    except ValueError:
        return utc
    when = when if when.tzinfo else when.replace(tzinfo=UTC)
    return when.astimezone().strftime("%Y-%m-%d %H:%M %z")
