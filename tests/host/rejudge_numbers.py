"""Filed starts judged again on one process and on two, in one run: `python -m tests.host.rejudge_numbers [STARTS]`; 1 where too slow.

The largest golden recordings in turn, read from a SQLite store. Prints both times and their ratio, and what reading
one recording takes with the C codec and with the board's own.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from unittest import mock

from sqlalchemy import insert, select

from firstcrank import wire
from firstcrank.jobs import records
from firstcrank.jobs.filing import attach
from firstcrank.jobs.identity import new_uuid
from firstcrank.jobs.rejudge import rejudge
from firstcrank.jobs.schema import STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.parallel import processes
from firstcrank.tracefiles import byte_stuffing, native

RECORDINGS = Path(__file__).parents[1] / "golden" / "data" / "recordings"
MOST_RATIO = 0.6
DISTINCT = 8


def fill(store: Store, count: int) -> list[int]:
    """`count` starts of the golden recordings; their ids."""
    records.create_job(store, "1")
    for path in sorted(RECORDINGS.glob("*.fcr"), key=lambda p: -p.stat().st_size)[:DISTINCT]:
        attach(store, "1", path)
    with store.engine.begin() as connection:
        rows = [dict(row) for row in connection.execute(select(STARTS)).mappings()]
        copies = [{**rows[n % len(rows)], "id": None, "uuid": new_uuid()} for n in range(count - len(rows))]
        for row in copies:
            del row["id"]
        connection.execute(insert(STARTS), copies)
        return [int(found) for found in connection.execute(select(STARTS.c.id)).scalars()]


def timed(store: Store, starts: list[int], workers: int) -> tuple[float, dict[int, str]]:
    """Seconds, the processes' own start not counted, and the verdicts."""
    with processes(workers) as executor:
        list(rejudge(store, starts[: 8 * workers * 4], executor, workers))  # every process has loaded what it needs
        began_s = time.monotonic()
        verdicts = {again.start: again.verdict for again in rejudge(store, starts, executor, workers)}
        return time.monotonic() - began_s, verdicts


def reading_s(content: bytes) -> float:
    """Least time of reading one recording, seconds."""
    times = []
    for _ in range(5):
        began_s = time.process_time()
        native.from_bytes(content)
        times.append(time.process_time() - began_s)
    return min(times)


def measure(count: int = 1000) -> int:
    """Prints the numbers; 1 where two processes are too slow."""
    with tempfile.TemporaryDirectory() as folder, open_store(str(Path(folder) / "s.sqlite"), scratch=True) as store:
        starts = fill(store, count)
        one_s, one = timed(store, starts, 1)
        two_s, two = timed(store, starts, 2)
    assert one == two, "the verdicts differ"
    assert len(one) == count
    assert all(one.values())
    ratio = two_s / one_s
    print(
        f"{count} starts judged again: {one_s:.1f} s on one process, {two_s:.1f} s on two, ratio {ratio:.2f} (at most {MOST_RATIO})"
    )
    content = max(RECORDINGS.glob("*.fcr"), key=lambda p: p.stat().st_size).read_bytes()
    fast_s = reading_s(content)
    with mock.patch.object(byte_stuffing, "decode", wire.cobs_decode):
        slow_s = reading_s(content)
    times = (
        f"{slow_s * 1e3:.0f} ms by the board's codec, {fast_s * 1e3:.0f} ms by the C one, {slow_s / fast_s:.1f} times faster"
    )
    print(f"reading a recording of {len(content) / 1e3:.0f} kB: {times}")
    return int(ratio > MOST_RATIO)


if __name__ == "__main__":
    sys.exit(measure(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
