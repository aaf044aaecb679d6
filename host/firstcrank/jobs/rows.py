"""Rows of the record's tables as they are read, by column name (schema.py). Times are ISO 8601 texts in UTC."""

from __future__ import annotations

from typing import NotRequired, TypedDict


class JobRow(TypedDict):
    """A job."""

    id: int
    number: str
    created_utc: str
    vehicle: str
    vin: str
    odometer: str
    engine: str
    technician: str
    archived: bool
    uuid: str
    customer: str
    phone: str
    plate: str
    order_number: str
    search_text: str


class StartRow(TypedDict):
    """A start filed with a job; verdict is the overall one, feed_verdict the key feed's (None: not kept).

    `when_utc`: recorded, or filed where that is not known. `state`: states.py. `reading_json`: reading.py.
    """

    id: int
    job_id: int
    filed_utc: str
    recorded_utc: str
    content_hash: str
    size_bytes: int
    file_name: str
    verdict: str
    feed_verdict: str | None
    reason: str
    cause: str
    crank_count: int
    feed_drop_v: float | None
    speed_rpm: float | None
    battery_gain: float | None
    board: str
    firmware: str
    host_version: str
    limits_json: str
    calibration_json: str
    judgement_json: str
    synthetic: bool
    uuid: str
    when_utc: str
    state: str
    reading_json: str
    crank_v: float | None
    system_v: int | None


class NoteRow(TypedDict):
    """A note; a report reads text and who."""

    id: NotRequired[int]
    job_id: NotRequired[int]
    written_utc: NotRequired[str]
    who: str
    text: str
    uuid: NotRequired[str]
    for_customer: NotRequired[bool]


class MeasurementRow(TypedDict):
    """A value measured by hand; a report reads what, value, unit, meter."""

    id: NotRequired[int]
    job_id: NotRequired[int]
    taken_utc: NotRequired[str]
    what: str
    value: float
    unit: str
    meter: str
    uuid: NotRequired[str]


class PhotoRow(TypedDict):
    """A photo; its bytes are in the store's contents under their hash."""

    id: int
    job_id: int
    added_utc: str
    name: str
    caption: str
    content_hash: str
    uuid: str
    for_customer: bool


class AuditRow(TypedDict):
    """Who changed what and when; `start_id` is None where it concerns the job as a whole."""

    id: int
    at_utc: str
    who: str
    job_id: int | None
    start_id: int | None
    action: str
    text: str
    uuid: str
    about: str
