"""Fills a store with 10,000 jobs and 50,000 starts and times what a shop does with it. Not a test: run it by hand.

    python -m tests.host.benchmarks_store [FOLDER]

The starts share five small recordings (their size is printed): contents are kept once by hash, as in a real store.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

from sqlalchemy import insert, select

from firstcrank.jobs import records
from firstcrank.jobs.backup import back_up
from firstcrank.jobs.filing import attach
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.schema import JOBS, STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.report.gather import from_store
from firstcrank.report.html import render

from .bench_recording import recorded

JOB_COUNT, STARTS_EACH = 10_000, 5


def fill(store: Store, folder: Path) -> None:
    """One real start, then its row repeated with other jobs, times and verdicts."""
    records.create_job(store, "template")
    sizes = []
    for name in ("marigold_trap", "marigold_repaired"):
        file = folder / f"{name}.fcr"
        file.write_bytes(recorded(name))
        sizes.append(file.stat().st_size)
        attach(store, "template", file)
    print(f"recordings of {min(sizes)} to {max(sizes)} bytes")
    with store.engine.begin() as connection:
        rows = [dict(r) for r in connection.execute(select(STARTS)).mappings()]
        for first in range(0, JOB_COUNT, 1000):
            numbers = range(first, first + 1000)
            connection.execute(
                insert(JOBS),
                [
                    {
                        "number": f"J{n:05d}",
                        "created_utc": f"2026-01-{1 + n % 28:02d}T08:00:00+00:00",
                        "vehicle": f"pickup {n % 97} of the valley",
                        "vin": "",
                        "odometer": str(n * 13),
                        "engine": "",
                        "technician": f"tech {n % 7}",
                        "archived": False,
                    }
                    for n in numbers
                ],
            )
        ids = list(connection.execute(select(JOBS.c.id).where(JOBS.c.number != "template")).scalars())
        batch = []
        for n, job_id in enumerate(ids):
            for k in range(STARTS_EACH):
                row = {key: value for key, value in rows[(n + k) % 2].items() if key != "id"}
                batch.append({**row, "job_id": job_id})
            if len(batch) >= 5000:
                connection.execute(insert(STARTS), batch)
                batch = []
        if batch:
            connection.execute(insert(STARTS), batch)


def timed(name: str, run: object, figures: dict[str, float]) -> None:
    """Median of three."""
    seconds = []
    for _ in range(3):
        began = time.perf_counter()
        run()  # type: ignore[operator]
        seconds.append(time.perf_counter() - began)
    figures[name] = sorted(seconds)[1]
    print(f"{name:<40}{figures[name]:8.3f} s")


def main() -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as name:
        folder = Path(name)
        figures: dict[str, float] = {}
        with open_store(str(folder / "s.sqlite")) as store:
            fill(store, folder)
            timed("list the newest 50", lambda: list_jobs(store), figures)
            timed("find by a word in the vehicle", lambda: list_jobs(store, "pickup 42"), figures)
            timed("find a word that is nowhere", lambda: list_jobs(store, "nowhere"), figures)
            timed("find by cause", lambda: list_jobs(store, "feed_dead_in_start"), figures)
            timed("show one job", lambda: records.job_file(store, "J05000"), figures)
            timed("one HTML report", lambda: render(from_store(store, "25000")), figures)
            began = time.perf_counter()
            back_up(store, folder / "b.zip")
            figures["backup, checked"] = time.perf_counter() - began
        print(json.dumps({k: round(v, 3) for k, v in figures.items()}))


if __name__ == "__main__":
    main()
