"""A whole store as a Parquet folder that DuckDB or pandas opens with one line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from sqlalchemy import select

from firstcrank.errors import StoreError, UsageError
from firstcrank.extras import extra_packages
from firstcrank.jobs.rows import StartRow
from firstcrank.jobs.schema import JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS
from firstcrank.jobs.store import Store


def export_store(store: Store, folder: Path, progress: Callable[[int, int], None] | None = None) -> list[str]:
    """jobs, starts, notes, measurements, photos as FOLDER/NAME.parquet; bins as FOLDER/bins/content_hash=HASH/bins.parquet.

    Each recording is written once, however many starts name it by their content_hash; volts as 32-bit floats (1 uV at 14 V).
    Lines about recordings that are missing or altered come back; the rest is written. Raises UsageError for a folder in use.
    """
    with extra_packages("parquet"):
        import pyarrow as pa
        import pyarrow.parquet as pq

    from firstcrank.jobs.recordings import recording_of
    from firstcrank.tracefiles.export import write_bins

    if folder.exists() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty: choose another folder")
    folder.mkdir(parents=True, exist_ok=True)
    starts: list[dict[str, object]] = []
    for table in (JOBS, STARTS, NOTES, MEASUREMENTS, PHOTOS):
        with store.engine.connect() as connection:
            rows = [dict(row) for row in connection.execute(select(table).order_by(table.c.id)).mappings()]
        columns = {c.name: [row[c.name] for row in rows] for c in table.columns}
        pq.write_table(pa.table(columns), folder / f"{table.name}.parquet")
        if table is STARTS:
            starts = rows
    trouble: list[str] = []
    written: set[object] = set()
    for number, start in enumerate(starts, start=1):
        if start["content_hash"] in written:
            continue
        try:
            recording = recording_of(store, cast(StartRow, start))
        except StoreError as error:
            trouble.append(f"start {start['id']}: {error}")
            continue
        place = folder / "bins" / f"content_hash={start['content_hash']}"
        place.mkdir(parents=True)
        write_bins(place / "bins.parquet", recording.trace)
        written.add(start["content_hash"])
        if progress:
            progress(number, len(starts))
    return trouble
