"""The record's numbers, in both databases: `python -m tests.host.record_numbers [--jobs N] [--kills N] [--rejudge N] [FOLDER]`. Not a test.

Times are of one run on whatever machine it is; memory is the highest resident set of the process that did the work.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import text

from firstcrank.jobs import outbox
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.records import create_job
from firstcrank.jobs.store import Store, open_store

from . import rejudge_numbers
from .postgres import shared_store
from .record_fill import DISTINCT, JOB_COUNT, STARTS_EACH, fill
from .record_kills import JOB, kill_backups, kill_filing
from .sim_recording import recorded

WARM = 5  # runs; the median counts, after one that is not timed
SEARCHES: dict[str, Callable[[Store], list[object]]] = {
    "list the newest 50": lambda store: list(list_jobs(store)),
    "find a part of a VIN": lambda store: list(list_jobs(store, Wanted("P004271"))),
    "find a word with an umlaut": lambda store: list(list_jobs(store, Wanted("haecksler 42"))),
    "find a telephone number": lambda store: list(list_jobs(store, Wanted("0711-55-04271"))),
    "find a word of notes and a cause": lambda store: list(list_jobs(store, Wanted("terminal feed_dead"))),
    "find a word that is nowhere": lambda store: list(list_jobs(store, Wanted("nowhere"))),
    "find by days and verdict": lambda store: list(
        list_jobs(store, Wanted(first_day="2024-05", last_day="2024-06", verdict="FAIL"))
    ),
}
# Runs a command of the program and prints, last, its seconds, its highest memory in MB, the processor's seconds, the exit code.
CHILD = """
import sys, time
from pathlib import Path
from firstcrank.cli.main import main
began = time.perf_counter()
try:
    main(sys.argv[1:])
except SystemExit as ended:
    code = ended.code
seconds, of_processor = time.perf_counter() - began, time.process_time()
lines = Path("/proc/self/status").read_text().splitlines()  # ru_maxrss would count the parent's memory
highest = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
print(f"\\n{seconds:.2f} {highest / 1024:.0f} {of_processor:.2f} {code}")
"""


def command(*args: str) -> tuple[float, float, float]:
    """Seconds, MB and seconds of the processor of one command; ends this program where it fails."""
    done = subprocess.run([sys.executable, "-c", CHILD, *args], capture_output=True, text=True, check=False)
    seconds, megabytes, of_processor, code = done.stdout.rsplit("\n", 2)[-2].split()
    if code not in ("0", "None"):
        sys.exit(f"{' '.join(args)}: exit code {code}\n{done.stdout}{done.stderr}")
    return float(seconds), float(megabytes), float(of_processor)


def warm(store: Store) -> dict[str, float]:
    """Milliseconds of each search, median of the warm runs."""
    figures = {}
    for name, search in SEARCHES.items():
        found = len(search(store))
        seconds = []
        for _ in range(WARM):
            began = time.perf_counter()
            search(store)
            seconds.append(time.perf_counter() - began)
        figures[name] = round(1000 * sorted(seconds)[WARM // 2], 1)
        print(f"  {name:<36}{figures[name]:9.1f} ms   {found} jobs", flush=True)
    return figures


def timed_command(name: str, figures: dict[str, float], *args: str) -> None:
    """One command, its seconds and memory kept under its name and printed."""
    seconds, megabytes, of_processor = command("jobs", *args)
    figures |= {f"{name}, s": seconds, f"{name}, MB": megabytes, f"{name}, processor s": of_processor}
    print(f"  {name:<36}{seconds:9.1f} s  {megabytes:6.0f} MB  {of_processor:8.1f} s of the processor", flush=True)


def in_sqlite(place: str, folder: Path, jobs: int) -> dict[str, float]:
    """Filled, searched, backed up, the backup proved, restored and compared."""
    began = time.perf_counter()
    with open_store(place) as store:
        size = fill(store, folder, jobs)
        with store.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text("ANALYZE"))
        print(f"  filled in {time.perf_counter() - began:.0f} s, {size / 1e6:.0f} MB of recordings before packing", flush=True)
        figures = warm(store)
    timed_command("backup", figures, "backup", str(folder / "b.zip"), "--store", place)
    print(f"  {'size of the backup':<36}{(folder / 'b.zip').stat().st_size / 1e6:9.1f} MB")
    timed_command("restore", figures, "restore", str(folder / "b.zip"), "--store", str(folder / "restored.sqlite"))
    print(f"  {'rows equal after restore':<36}{same_rows(place, str(folder / 'restored.sqlite')):9d}", flush=True)
    timed_command("backup --check", figures, "backup", str(folder / "c.zip"), "--check", "--store", place)
    return figures


def in_postgresql(url: str, sqlite: str, folder: Path) -> dict[str, float]:
    """Restored from the SQLite store's backup, searched, backed up; its rows compared with those of the SQLite store."""
    figures: dict[str, float] = {}
    timed_command("restore", figures, "restore", str(folder / "b.zip"), "--store", url)
    print(f"  {'rows equal to those in SQLite':<36}{same_rows(sqlite, url):9d}", flush=True)
    with open_store(url) as store:
        with store.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text("ANALYZE"))
        figures |= warm(store)
    timed_command("backup", figures, "backup", str(folder / "p.zip"), "--store", url)
    return figures


def kills(times: int, folder: Path) -> None:
    """A third each: filing and syncing into SQLite, into PostgreSQL, backing both up."""
    os.environ[outbox.ENVIRONMENT] = str(folder / "outbox")
    start = folder / "start.fcr"
    start.write_bytes(recorded("marigold_trap"))
    sqlite = str(folder / "shop.sqlite")
    with shared_store() as url:
        for name, place, share in (("SQLite", sqlite, times // 3), ("PostgreSQL", url, times // 3)):
            with open_store(place) as store:
                create_job(store, JOB)
            report, there = kill_filing(place, start, share)
            print(
                f"  {share} kills while filing, {name}: {report} told as filed, {there} there, none twice, all whole",
                flush=True,
            )
            backups = (times - 2 * (times // 3)) // 2
            (folder / name).mkdir()
            whole, none = kill_backups(place, folder / name, backups)
            print(
                f"  {backups} kills while backing up, {name}: {whole} backups whole, {none} not there, none half there",
                flush=True,
            )


def same_rows(one: str, other: str) -> int:
    """How many rows two stores hold; ends this program at the first that differs, or the first content."""
    from itertools import zip_longest

    from firstcrank.jobs.snapshot import TABLES, hashes, rows_of, snapshot

    count = 0
    with open_store(one) as first, open_store(other) as second, snapshot(first) as a, snapshot(second) as b:
        for table in TABLES:
            for before, after in zip_longest(rows_of(a, table), rows_of(b, table)):
                if before != after:
                    sys.exit(f"{table.name}: {before} is {after}")
                count += 1
        for content_hash in hashes(a):
            if first.contents.get(content_hash) != second.contents.get(content_hash):
                sys.exit(f"content {content_hash} differs")
    return count


def main() -> None:
    """Prints the table, and the figures as one line of JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", help="where to work; a temporary folder")
    parser.add_argument("--jobs", type=int, default=JOB_COUNT)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--rejudge", type=int, default=1000, help="starts judged again (rejudge_numbers.py); 0: none")
    options = parser.parse_args()
    found: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        if options.jobs:
            print(f"{options.jobs} jobs, {options.jobs * STARTS_EACH} starts, {DISTINCT} recordings\nSQLite", flush=True)
            sqlite = str(folder / "shop.sqlite")
            found["sqlite"] = in_sqlite(sqlite, folder, options.jobs)
            with shared_store() as url:
                print("PostgreSQL", flush=True)
                found["postgresql"] = in_postgresql(url, sqlite, folder)
        if options.kills:
            print("Programs killed", flush=True)
            (folder / "kills").mkdir()
            kills(options.kills, folder / "kills")
    if options.rejudge:
        print("Judged again", flush=True)
        rejudge_numbers.measure(options.rejudge)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
