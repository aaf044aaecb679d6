"""Jobs handed over as folders: original recordings and photos, the report, all values as JSON with its schema, and CSV.

A folder is there whole or not at all. What is missing or altered in the record is told, and the rest is written.
"""

from __future__ import annotations

import csv
import io
import json
import tempfile
from collections.abc import Iterable, Sequence
from importlib.resources import files
from pathlib import Path

from firstcrank import __version__
from firstcrank.errors import FirstcrankError, StoreError, UnwritableFileError, UsageError, cannot_write
from firstcrank.jobs.listing import every_job
from firstcrank.jobs.records import JobDetail, job_detail
from firstcrank.jobs.rows import StartRow
from firstcrank.jobs.store import Store
from firstcrank.report import html, pdf
from firstcrank.report.gather import from_store
from firstcrank.tracefiles.table import write

SCHEMA = 1
SCHEMA_FILE = "job.schema.json"
NOT_HANDED_OVER = ("search_text", "id", "job_id", "archived")
PARSED = ("judgement_json", "limits_json", "calibration_json", "reading_json")
SUMMARY = (
    "start",
    "file_name",
    "when_utc",
    "verdict",
    "feed_verdict",
    "state",
    "reason",
    "cause",
    "feed_drop_v",
    "speed_rpm",
    "crank_v",
)


def found_jobs(store: Store, search: str) -> list[str]:
    """Numbers of the jobs that a search finds, archived ones too."""
    return [job["number"] for job in every_job(store, search)]


def hand_over(store: Store, number: str, folder: Path, paper: str = "A4") -> list[str]:
    """Writes a job as `folder`/NUMBER; lines about what could not be written.

    Raises UsageError for an unknown job or where its folder is there already, UnwritableFileError, MissingExtraError.
    """
    detail = job_detail(store, number)
    target = folder / folder_name(detail.job["number"], detail.job["id"])
    if target.exists():
        raise UsageError(f"{target} is already there: choose another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".new-") as name:
            fresh = Path(name) / "job"
            fresh.mkdir(mode=0o700)
            trouble = _fill(store, detail, fresh, paper)
            fresh.replace(target)
    except OSError as error:
        raise UnwritableFileError(cannot_write(target, error)) from error
    return trouble


def folder_name(number: str, job_id: int) -> str:
    """A job's number as a name that every system takes; with the job's id where signs of it are lost."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "_" for c in number)[:80]
    return plain if plain == number else f"{plain}-{job_id}"


def _fill(store: Store, detail: JobDetail, folder: Path, paper: str) -> list[str]:
    trouble: list[str] = []
    names: dict[str, str] = {}
    for start in detail.starts:
        trouble += _start(store, start, folder, names, paper)
    for photo in detail.photos:
        name = f"photo-{photo['id']}{Path(photo['name']).suffix.lower()[:8]}"
        try:
            (folder / name).write_bytes(store.contents.get(photo["content_hash"]))
            names[photo["uuid"]] = name
        except StoreError as error:
            trouble.append(f"photo {photo['id']}: {error}")
    table = as_table(detail, names)
    (folder / "job.json").write_text(json.dumps(table, ensure_ascii=False, indent=1, allow_nan=False) + "\n", "utf-8")
    (folder / SCHEMA_FILE).write_text((files("firstcrank.data") / "schemas" / SCHEMA_FILE).read_text("utf-8"), "utf-8")
    (folder / "starts.csv").write_text(_summary(detail.starts), "utf-8", newline="")
    return trouble


def _start(store: Store, start: StartRow, folder: Path, names: dict[str, str], paper: str) -> list[str]:
    """The recording as it was filed, as CSV, and its report."""
    stem = f"start-{start['id']}"
    try:
        original = f"{stem}-original{Path(start['file_name']).suffix.lower()[:8] or '.fcr'}"
        (folder / original).write_bytes(store.contents.get(start["content_hash"]))
        names[start["uuid"]] = original
        inputs = from_store(store, str(start["id"]))
        write(folder / f"{stem}.csv", inputs.recording)
        (folder / f"{stem}.html").write_text(html.render(inputs), "utf-8")
        (folder / f"{stem}.pdf").write_bytes(pdf.render(inputs, paper))
    except FirstcrankError as error:
        return [f"start {start['id']}: {error}"]
    return []


def as_table(detail: JobDetail, names: dict[str, str]) -> dict[str, object]:
    """Everything of a job as plain values (job_table.py); `file` of a start or photo is its name in the folder."""
    parts = {
        "starts": detail.starts,
        "notes": detail.notes,
        "measurements": detail.measurements,
        "photos": detail.photos,
        "changes": detail.audit,
    }
    return {
        "schema": SCHEMA,
        "made_by": f"firstcrank {__version__}",
        "job": _plain(detail.job.items()),
        **{name: [_plain(row.items(), names) for row in rows] for name, rows in parts.items()},
    }


def _plain(values: Iterable[tuple[str, object]], names: dict[str, str] | None = None) -> dict[str, object]:
    row = dict(values)
    out = {name: value for name, value in row.items() if name not in (*NOT_HANDED_OVER, *PARSED)}
    for name in (n for n in PARSED if n in row):
        out[name.removesuffix("_json")] = json.loads(str(row[name])) if row[name] else None
    if "id" in row and names is not None:
        out["number"] = row["id"]
    if "content_hash" in row:
        out["file"] = (names or {}).get(str(row["uuid"]))
    return out


def _summary(starts: Sequence[StartRow]) -> str:
    """A row a start. Text that a spreadsheet would take for a formula gets an apostrophe before it (OWASP, CSV injection)."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(SUMMARY)
    for start in starts:
        row = {**start, "start": start["id"]}
        writer.writerow([_cell(row[name]) for name in SUMMARY])
    return text.getvalue()


def _cell(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
