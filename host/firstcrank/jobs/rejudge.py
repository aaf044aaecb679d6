"""Filed starts judged again: with other limits or by a newer judge. What was filed stays as it is; the new verdict stands beside it.

Each start goes to a worker with all that it needs (rejudge_one.py), so that a worker needs no way to the store.
"""

from __future__ import annotations

import concurrent.futures
import hashlib
import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import asdict, replace
from itertools import islice
from pathlib import Path
from typing import cast

from sqlalchemy import select

from firstcrank import __version__
from firstcrank.errors import StoreError, UsageError
from firstcrank.extras import extra_packages
from firstcrank.jobs.listing import every_job
from firstcrank.jobs.rejudge_one import Again, Piece, judge_piece
from firstcrank.jobs.rows import StartRow
from firstcrank.jobs.schema import COUNTED, JOBS, STARTS
from firstcrank.jobs.store import Store
from firstcrank.limits import Limits
from firstcrank.parallel import each_done
from firstcrank.whole_file import whole_file

AT_ONCE = 8  # starts in one piece of work: fewer trips, and still little memory
ROWS_AT_ONCE = 1_000


def chosen_starts(store: Store, search: str = "", simulated: bool = False) -> list[int]:
    """Ids of the starts that count, of all jobs or of those that a search finds, the oldest first."""
    query = select(STARTS.c.id).where(COUNTED).order_by(STARTS.c.id)
    if not simulated:
        query = query.where(STARTS.c.synthetic.is_(False))
    with store.engine.connect() as connection:
        ids = [(int(row[0]), int(row[1])) for row in connection.execute(query.add_columns(STARTS.c.job_id))]
    if not search.strip():
        return [start for start, _ in ids]
    jobs = {job["id"] for job in every_job(store, search)}
    return [start for start, job in ids if job in jobs]


def rejudge(
    store: Store, starts: Sequence[int], executor: concurrent.futures.Executor, workers: int, limits: Limits | None = None
) -> Iterator[Again]:
    """Each start judged again, as they are done. `limits`: None for those that each was filed with.

    A start that cannot be judged comes back with its `trouble` told. `executor` is any of concurrent.futures.
    """
    given = json.dumps(limits.to_json()) if limits is not None else ""
    for answers in each_done(executor, judge_piece, _pieces(store, starts, given), workers):
        yield from answers


def _pieces(store: Store, starts: Sequence[int], limits_json: str) -> Iterator[list[Piece]]:
    columns = [
        STARTS.c[n]
        for n in ("id", "content_hash", "file_name", "limits_json", "calibration_json", "reading_json", "verdict", "reason")
    ]
    for first in range(0, len(starts), AT_ONCE):
        query = select(*columns, JOBS.c.number.label("job")).join(JOBS, JOBS.c.id == STARTS.c.job_id)
        with store.engine.connect() as connection:
            chosen = query.where(STARTS.c.id.in_(starts[first : first + AT_ONCE])).order_by(STARTS.c.id)
            rows = [dict(row) for row in connection.execute(chosen).mappings()]
        yield [_piece(store, row, limits_json) for row in rows]


def _piece(store: Store, row: dict[str, object], limits_json: str) -> Piece:
    start = cast(StartRow, row)
    try:
        packed, trouble = store.contents.get_packed(start["content_hash"]), ""
    except StoreError as error:
        packed, trouble = None, str(error)
    return Piece(
        start["id"],
        str(row["job"]),
        packed,
        start["content_hash"],
        start["file_name"],
        start["limits_json"],
        limits_json,
        start["calibration_json"],
        start["reading_json"],
        start["verdict"],
        start["reason"],
        trouble,
    )


class Journal:
    """What is done so far, a line a start in a file beside the result: a run that was stopped goes on where it was.

    It holds for one set of limits and one version of the program; of another it begins anew.
    """

    def __init__(self, result: Path, limits: Limits | None) -> None:
        """Raises UsageError where the result is there already."""
        if result.exists():
            raise UsageError(f"{result} is already there: choose another name")
        self.path = result.with_name(result.name + ".part")
        given = json.dumps(limits.to_json(), sort_keys=True) if limits is not None else "as filed"
        head = json.dumps({"by": __version__, "limits": hashlib.sha256(given.encode()).hexdigest()})
        kept = self._lines(head) if self.path.exists() else []
        with whole_file(self.path, replace=True) as file:
            file.write("".join(f"{line}\n" for line in (head, *kept)).encode("utf-8"))
        self.done = {again.start: replace(again, judgement_json="") for again in self.read()}

    def _lines(self, head: str) -> list[str]:
        first, *lines = self.path.read_text("utf-8").split("\n")
        return lines[:-1] if first == head else []  # the last is empty, or was being written when the run was stopped

    def read(self) -> Iterator[Again]:
        """Every start that is done, with its whole judgement."""
        with self.path.open(encoding="utf-8") as file:
            next(file)
            for line in file:
                yield Again(**json.loads(line))

    def add(self, found: Again) -> None:
        """Keeps one start."""
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(found), ensure_ascii=False) + "\n")
        self.done[found.start] = replace(found, judgement_json="")

    def left(self, starts: Collection[int]) -> list[int]:
        """Those that are not done."""
        return [start for start in starts if start not in self.done]


def write_result(path: Path, journal: Journal, starts: Collection[int]) -> None:
    """One row for each of `starts`, as Parquet, the filed verdict beside the new one. Raises MissingExtraError."""
    with extra_packages("parquet"):
        import pyarrow as pa
        import pyarrow.parquet as pq

    wanted = set(starts)
    types = [(name, pa.int64() if name == "start" else pa.string()) for name in Again.__slots__]
    rows = (asdict(again) for again in journal.read() if again.start in wanted)
    with whole_file(path) as file, pq.ParquetWriter(file, pa.schema(types)) as writer:
        while batch := list(islice(rows, ROWS_AT_ONCE)):
            writer.write_table(pa.Table.from_pylist(batch, schema=pa.schema(types)))
