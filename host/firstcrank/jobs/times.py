"""Times of the record: UTC, ISO 8601 to the second, so that they sort as text."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from firstcrank.errors import UsageError


def now_utc() -> str:
    """ISO 8601, seconds, UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def when_utc(recorded: str, filed: str) -> str:
    """The time of recording in UTC, or that of filing where it is not known."""
    try:
        when = datetime.fromisoformat(recorded)
    except ValueError:
        return filed
    return (when if when.tzinfo else when.replace(tzinfo=UTC)).astimezone(UTC).isoformat(timespec="seconds")


def day_range(first: str, last: str) -> tuple[str, str]:
    """UTC texts from the begin of the first local day to the begin of the one after the last; an empty text stays open.

    Days are YYYY-MM-DD; YYYY-MM and YYYY mean the whole month or year. Raises UsageError.
    """
    begin = _local_begin(_span(first)[0]) if first else ""
    end = _local_begin(_span(last)[1] + timedelta(days=1)) if last else ""
    if begin and end and begin >= end:
        raise UsageError(f"{first} is after {last}")
    return begin, end


def typed_time(text: str) -> str:
    """A typed time as UTC; local time where it names no offset. Raises UsageError."""
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(f"{text!r} is no time: write 2026-05-31T14:30, or with an offset 2026-05-31T14:30+02:00") from error
    return when.astimezone(UTC).isoformat(timespec="seconds")


def _span(text: str) -> tuple[date, date]:
    try:
        if len(text) == 4:
            return date(int(text), 1, 1), date(int(text), 12, 31)
        if len(text) == 7:
            begin = date.fromisoformat(f"{text}-01")
            return begin, (begin + timedelta(days=31)).replace(day=1) - timedelta(days=1)
        day = date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"{text!r} is no day: write 2026-05-31, or 2026-05, or 2026") from error
    return day, day


def _local_begin(day: date) -> str:
    return datetime.combine(day, time()).astimezone().astimezone(UTC).isoformat(timespec="seconds")
