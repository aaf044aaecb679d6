"""A job that is handed over as plain values: what `jobs export` writes as job.json. Times are ISO 8601 in UTC."""

from __future__ import annotations

from typing import Annotated, TypedDict

from firstcrank.calibration import CalibrationTable
from firstcrank.jobs.reading import Reading
from firstcrank.jobs.states import StartState
from firstcrank.limits import LimitsTable
from firstcrank.model.judgement_table import JudgementTable
from firstcrank.model.vocabulary import Verdict


class Pattern(str):
    """What a text looks like: a regular expression, as JSON Schema has them."""


Uuid = Annotated[str, Pattern("^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"), "the same in every store"]
Sha256 = Annotated[str, Pattern("^[0-9a-f]{64}$"), "SHA-256 of the file"]


class JobValues(TypedDict):
    """What is kept of the job itself."""

    number: Annotated[str, Pattern("."), "never empty"]
    uuid: Uuid
    created_utc: str
    customer: str
    phone: str
    vehicle: str
    plate: str
    vin: str
    odometer: str
    engine: str
    technician: str
    order_number: str


class StartValues(TypedDict):
    """A start."""

    number: int
    uuid: Uuid
    file: Annotated[str | None, "its name in the folder; null where the recording is missing or altered"]
    file_name: Annotated[str, "as it was named when it was filed"]
    content_hash: Sha256
    size_bytes: int
    when_utc: Annotated[str, "recorded, or filed where that is not known"]
    recorded_utc: Annotated[str, "empty where it is not known"]
    filed_utc: str
    verdict: Annotated[str, Verdict, "overall, as filed"]
    feed_verdict: Annotated[str | None, Verdict, "the key feed's; null where it was not kept"]
    reason: Annotated[str, "first line of the verdict"]
    cause: Annotated[str, "id of the likeliest cause (docs/diagnosis.md); empty where there is none"]
    state: Annotated[str, StartState, "what the shop said of it; empty where nothing"]
    crank_count: int
    feed_drop_v: float | None
    speed_rpm: float | None
    crank_v: Annotated[float | None, "the battery's mean while cranking"]
    system_v: Annotated[int | None, "12 or 24, of the limits"]
    battery_gain: Annotated[float | None, "volts a code of the battery's input"]
    board: Annotated[str, "its unique number"]
    firmware: str
    host_version: str
    synthetic: Annotated[bool, "a simulated vehicle's"]
    judgement: Annotated[JudgementTable, "what `judge --json` printed when it was filed, of its schema then"]
    limits: Annotated[LimitsTable, "those that it was judged by"]
    calibration: CalibrationTable | None
    reading: Annotated[Reading | None, "how the file was read and what was answered beside it; null where nothing"]


class NoteValues(TypedDict):
    """A note."""

    number: int
    uuid: Uuid
    written_utc: str
    who: str
    text: str
    for_customer: bool


class MeasurementValues(TypedDict):
    """A value measured by hand."""

    number: int
    uuid: Uuid
    taken_utc: str
    what: str
    value: float
    unit: str
    meter: str


class PhotoValues(TypedDict):
    """A photo."""

    number: int
    uuid: Uuid
    added_utc: str
    name: Annotated[str, "as it was named when it was added"]
    caption: str
    file: Annotated[str | None, "its name in the folder; null where it is missing or altered"]
    content_hash: Sha256
    for_customer: bool


class ChangeValues(TypedDict):
    """One change of the record."""

    number: int
    uuid: Uuid
    at_utc: str
    who: str
    start_id: Annotated[int | None, "number of the start; null where it concerns the job"]
    action: str
    text: str
    about: Annotated[str, "UUID of what was changed; empty for the job itself"]


class JobTable(TypedDict):
    """A job with all that the record keeps of it, internal notes and history too."""

    schema: int
    made_by: Annotated[str, "firstcrank and its version"]
    job: JobValues
    starts: Annotated[list[StartValues], "in the order in which they were filed"]
    notes: list[NoteValues]
    measurements: list[MeasurementValues]
    photos: list[PhotoValues]
    changes: Annotated[list[ChangeValues], "who changed what and when"]
