"""Everything a report says, gathered once for HTML and PDF alike, in the order in which it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from firstcrank.jobs.rows import MeasurementRow, NoteRow
from firstcrank.limits import SPECS, Limits
from firstcrank.model.fault_order import DO_NOT_CRANK
from firstcrank.model.judgement import Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Result, Scope
from firstcrank.recording import Recording
from firstcrank.report.summary import harmful, rows
from firstcrank.trace import Trace
from firstcrank.units import MS_PER_S, local_time, sentence
from firstcrank.visit.account import seen_first, visit_lines

TITLE = "First-start record"
MOST_CLOSE_UPS = 4
HELD = "The wire that switches the engine's computer on kept its voltage through the whole start"
LOST = (
    "The wire that switches the engine's computer on, or the battery behind it, did not keep its voltage. "
    "This is a wiring or supply fault; it can keep a sound engine from starting."
)
NOT_SHOWN = "The recording does not show enough to say whether the wiring is good. It must be repeated."
RECOVER_INTERRUPTED_INSTALL = "It must be put right before the engine is cranked again."
NEXT_STEP = {
    "PASS": "Nothing on this circuit. Go on with what was not tested.",
    "FAIL": "See the findings: measure the circuit named there.",
    "NO VERDICT": "Put right what the reasons name, and record again.",
}
RESULT_LABELS = {"pass": "ok", "fail": "FAIL", "warn": "note", "no verdict": "undecided", "not measured": "not measured"}
BATTERY_CHECKS = (CheckId.BATTERY_REST, CheckId.BATTERY_CRANK, CheckId.SUPPLY_MINIMUM)
CAUTIONS = (
    "This record is about the circuits listed under what was tested, on this one start. It says nothing of anything else.",
    "Before cranking again: neutral, brake on, wheels chocked, nobody near belts and fan; no starting fluid with an intake "
    "heater; starter 30 s at most, then 2 minutes' rest.",
    "The engine maker's instructions, local codes and licensed practice come first.",
)


@dataclass(frozen=True, slots=True)
class ReportInputs:
    """Plain texts and rows. Nothing in it is markup: whoever shows it escapes it.

    `notes` are all of the job: only those marked for the customer are shown. `photos`: bytes and caption of those chosen. `earlier`:
    name, trace and judgement of the start before the repair, where this one is compared with it.
    """

    recording: Recording
    judgement: Judgement
    limits: Limits
    content_hash: str
    job: Mapping[str, object] = field(default_factory=dict)
    notes: tuple[NoteRow, ...] = ()
    measurements: tuple[MeasurementRow, ...] = ()
    shop_name: str = ""
    shop_logo: bytes = b""
    start_name: str = ""
    photos: tuple[tuple[bytes, str], ...] = ()
    earlier: tuple[str, Trace, Judgement] | None = None

    @property
    def job_number(self) -> str:
        """The job's number; empty for a file that is in no record."""
        return str(self.job.get("number") or "")

    @property
    def visit_lines(self) -> list[str]:
        """What a guided start wrote down: bursts, answers, what was skipped and what was out of order."""
        return visit_lines(self.recording.trace.notes)

    @property
    def seen_first(self) -> list[str]:
        """What was seen at the vehicle that comes before any verdict, each with what must not be done."""
        return [f"{sentence(line)}. {never}" for line, never in seen_first(self.recording.trace.notes)]

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
        lines = [
            ("Job", job.get("number", "")),
            ("Start", self.start_name),
            ("Customer", job.get("customer", "")),
            ("Order", job.get("order_number", "")),
            ("Vehicle", job.get("vehicle", "")),
            ("Plate", job.get("plate", "")),
            ("VIN", job.get("vin", "")),
            ("Odometer", job.get("odometer", "")),
            ("Engine", job.get("engine", "")),
            ("Recorded", self.recorded),
            ("Technician", job.get("technician", "")),
        ]
        if self.recording.meta.get("synthetic"):
            lines.append(("Data", "SIMULATED, no vehicle: proves nothing"))
        return [(name, str(value)) for name, value in lines if value]

    @property
    def other_fault(self) -> str:
        """The second large line where another fault was found; empty where none was."""
        if not self.judgement.other_faults:
            return ""
        warning = ": do not crank again" if harmful(self.judgement) else ""
        return f"Other fault found{warning}"

    @property
    def plain(self) -> str:
        """The verdict for the customer in a sentence or two, the fault first."""
        feed = self.judgement.feed.verdict
        if not self.judgement.other_faults:
            return {"PASS": HELD + ".", "FAIL": LOST}.get(feed, NOT_SHOWN)
        fault = f"Another fault was found in this start. {RECOVER_INTERRUPTED_INSTALL}"
        if feed == "PASS":
            return f"{fault} {HELD}: that wire is not the fault."
        return f"{LOST} {fault}" if feed == "FAIL" else f"{fault} {NOT_SHOWN}"

    @property
    def next_check(self) -> str:
        """What to check next, by the judge or by the verdict."""
        return self.judgement.next_check or NEXT_STEP[self.judgement.verdict]

    def fault_lines(self) -> list[str]:
        """Every other fault found, the worst first."""
        return [
            f"{sentence(f.reason)}{'. Do not crank again before it is put right' if f.check in DO_NOT_CRANK else ''}"
            for f in self.judgement.other_faults
        ]

    def cause_heading(self) -> str:
        """What the causes are: of a failure, or a note beside a verdict that stands."""
        return "Likely cause" if self.judgement.verdict == "FAIL" else "Noticed as well"

    def tested(self) -> list[str]:
        """One line a circuit that was judged."""
        found = [f for f in self.judgement.findings if f.result is not Result.NOT_MEASURED]
        lines = []
        if any(f.scope is Scope.FEED for f in found):
            lines.append("Key-switch feed at the module's plug")
        if any(f.check in BATTERY_CHECKS for f in found):
            lines.append("Battery at rest and while cranking")
        others = {f.check.partition(".")[0].replace("_", " ") for f in found if f.scope is Scope.OTHER}
        return lines + sorted(o for o in others if not o.startswith("battery"))

    def finding_rows(self) -> list[tuple[str, str, str, str, str]]:
        """(result, what, measured, uncertainty, limit) with units."""
        return [
            (RESULT_LABELS[f.result], sentence(f.reason), number(f, f.measured), number(f, f.uncertainty), number(f, f.limit))
            for f in rows(self.judgement)
        ]

    def board_rows(self) -> list[tuple[str, str]]:
        """Board, firmware, host, calibration."""
        meta, calibration = self.recording.meta, self.recording.calibration
        lines = [
            ("Board", meta.get("board")),
            ("Chip", meta.get("chip")),
            ("Firmware", meta.get("firmware")),
            ("Sampling", meta.get("acquisition")),
            ("Program", f"firstcrank {meta.get('host_version')}" if meta.get("host_version") else ""),
            ("Calibration", f"{calibration.kind}, {calibration.date or 'no date'}" if calibration else "none of ours"),
            ("Meter", calibration.meter if calibration else ""),
        ]
        return [(name, str(value)) for name, value in lines if value]

    def limit_rows(self) -> list[tuple[str, str, str]]:
        """(what, value with unit, source)."""
        return [
            (spec.meaning, f"{self.limits[key]:g} {spec.unit}".strip(), self.limits.sources.get(key, ""))
            for key, spec in SPECS.items()
        ]


def number(finding: Finding, value: float | None) -> str:
    """With its unit as a person reads it; seconds below 1 s as milliseconds."""
    if value is None:
        return ""
    if finding.unit == "s":
        return f"{value * MS_PER_S:.3g} ms" if abs(value) < 1 else f"{value:.2f} s"
    return f"{value:.3g} {finding.unit}".strip()
