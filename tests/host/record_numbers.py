"""The record's numbers, in both databases: `python -m tests.host.record_numbers [--jobs N] [--kills N] [FOLDER]`. Not a test.

Times are of one run on whatever machine it is; memory is the highest resident set of the process that did the work.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import text

from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.store import Store, open_store

from .postgres import shared_store
from .record_fill import DISTINCT, JOB_COUNT, STARTS_EACH, fill

WARM = 5  # runs; the median counts, after one that is not timed
SEARCHES: dict[str, Callable[[Store], list[object]]] = {
    "list the newest 50": lambda store: list(list_jobs(store)),
    "find a part of a VIN": lambda store: list(list_jobs(store, "P004271")),
    "find a word with an umlaut": lambda store: list(list_jobs(store, "haecksler 42")),
    "find a telephone number": lambda store: list(list_jobs(store, "0711-55-04271")),
    "find a word of notes and a cause": lambda store: list(list_jobs(store, "terminal feed_dead")),
    "find a word that is nowhere": lambda store: list(list_jobs(store, "nowhere")),
    "find by days and verdict": lambda store: list(list_jobs(store, first_day="2024-05", last_day="2024-06", verdict="FAIL")),
}
# Runs a command of the program and prints, last, its seconds and its highest memory in MB.
CHILD = """
import sys, time
from pathlib import Path
from firstcrank.cli.main import main
began = time.perf_counter()
try:
    main(sys.argv[1:])
except SystemExit as ended:
    code = ended.code
seconds = time.perf_counter() - began
lines = Path("/proc/self/status").read_text().splitlines()  # ru_maxrss would count the parent's memory
highest = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
print(f"\\n{seconds:.2f} {highest / 1024:.0f} {code}")
"""


def command(*args: str) -> tuple[float, float]:
    """Seconds and MB of one command; ends this program where it fails."""
    done = subprocess.run([sys.executable, "-c", CHILD, *args], capture_output=True, text=True, check=False)
    seconds, megabytes, code = done.stdout.rsplit("\n", 2)[-2].split()
    if code not in ("0", "None"):
        sys.exit(f"{' '.join(args)}: exit code {code}\n{done.stdout}{done.stderr}")
    return float(seconds), float(megabytes)


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


def measured(place: str, folder: Path, jobs: int) -> dict[str, float]:
    """One database: searches, backup, its proof, restore; all rows of the restored store against those of this one."""
    began = time.perf_counter()
    with open_store(place) as store:
        size = fill(store, folder, jobs)
        with store.engine.connect() as connection:
            statement = "ANALYZE"
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text(statement))
        print(f"  filled in {time.perf_counter() - began:.0f} s, {size / 1e6:.0f} MB of recordings before packing", flush=True)
        figures = warm(store)
    for name, args in {
        "backup": ("backup", str(folder / "b.zip")),
        "backup --check": ("backup", str(folder / "c.zip"), "--check"),
        "restore --check": ("restore", "--check", str(folder / "b.zip")),
        "restore": ("restore", str(folder / "b.zip")),
    }.items():
        into = str(folder / "restored.sqlite") if name == "restore" else place
        figures[f"{name}, s"], figures[f"{name}, MB"] = command("jobs", *args, "--store", into)
        print(f"  {name:<36}{figures[f'{name}, s']:9.1f} s  {figures[f'{name}, MB']:6.0f} MB", flush=True)
    print(f"  {'size of the backup':<36}{(folder / 'b.zip').stat().st_size / 1e6:9.1f} MB")
    print(f"  {'rows equal after restore':<36}{same_rows(place, str(folder / 'restored.sqlite')):9d}", flush=True)
    return figures


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
    options = parser.parse_args()
    found: dict[str, dict[str, float]] = {}
    print(f"{options.jobs} jobs, {options.jobs * STARTS_EACH} starts, {DISTINCT} recordings")
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        print("SQLite")
        (Path(name) / "a").mkdir()
        found["sqlite"] = measured(str(Path(name) / "a" / "shop.sqlite"), Path(name) / "a", options.jobs)
    with tempfile.TemporaryDirectory(dir=options.folder) as name, shared_store() as url:
        print("PostgreSQL")
        found["postgresql"] = measured(url, Path(name), options.jobs)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
