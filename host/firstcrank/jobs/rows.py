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


class StartRow(TypedDict):
    """A start filed with a job; verdict is the overall one, feed_verdict the key feed's (None: not kept)."""

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


class NoteRow(TypedDict):
    """A note; a report reads text and who."""

    id: NotRequired[int]
    job_id: NotRequired[int]
    written_utc: NotRequired[str]
    who: str
    text: str


class MeasurementRow(TypedDict):
    """A value measured by hand; a report reads what, value, unit, meter."""

    id: NotRequired[int]
    job_id: NotRequired[int]
    taken_utc: NotRequired[str]
    what: str
    value: float
    unit: str
    meter: str


class PhotoRow(TypedDict):
    """A photo; its bytes are in the store's contents under their hash."""

    id: int
    job_id: int
    added_utc: str
    name: str
    caption: str
    content_hash: str
