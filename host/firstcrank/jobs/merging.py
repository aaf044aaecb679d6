"""Another store brought into this one: every row once and only once, by its UUID, however often it is done, in one transaction.

A recording or photo that the same job has already, filed in both stores by itself, is not taken a second time (its hash tells). What
was corrected in both is as it was corrected last (registers.py). What was forgotten in either is forgotten in this one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import StoreError
from firstcrank.jobs.audit import write_line
from firstcrank.jobs.forgetting import delete_job, delete_row, sweep
from firstcrank.jobs.patience import patient
from firstcrank.jobs.registers import Register, newer_there
from firstcrank.jobs.schema import ANONYMOUS_STARTS, AUDIT, FORGOTTEN, JOBS, PHOTOS, STARTS, StoreTable
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.snapshot import AT_ONCE, snapshot
from firstcrank.jobs.store import Store
from firstcrank.jobs.tombstones import KINDS, OWNED, Tombstones, add_tombstones, tombstones

LOCK_KEY = 7_319_005  # PostgreSQL advisory lock, so that two merges do not meet
WITH_CONTENT = (STARTS, PHOTOS)


@dataclass(slots=True)
class Merged:
    """New rows by table; `contents` brought; (number there, number here) of jobs whose number was taken; lines changed by a later
    correction; jobs and single rows deleted here because they were forgotten there; `kept_out`: rows forgotten here; `same`: filed in
    both stores; `trouble`: recordings that the other store lacks, and what should be looked at."""

    rows: dict[str, int] = field(default_factory=dict)
    contents: int = 0
    renumbered: list[tuple[str, str]] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    forgotten: int = 0
    kept_out: int = 0
    same: int = 0
    trouble: list[str] = field(default_factory=list)


class _UndoneError(Exception):
    """Ends the transaction of a dry run."""


def would_forget(store: Store, source: Store) -> list[str]:
    """Numbers of the jobs here that were forgotten in the other store: merging deletes them."""
    with store.engine.connect() as here, source.engine.connect() as there:
        gone = tombstones(there).named("job")
        rows = here.execute(select(JOBS.c.uuid, JOBS.c.number).order_by(JOBS.c.id)).all()
    return [str(number) for uuid, number in rows if uuid in gone]


def merge(store: Store, source: Store, who: str = "", dry_run: bool = False) -> Merged:
    """Brings all of `source` (other_store.py) into `store`. `dry_run`: only says what it would do.

    Contents are kept first, each by itself; then all rows in one transaction, so that a merge that is killed has done nothing that
    shows. Raises StoreError.
    """
    work = _Merge(store, source, who)
    with snapshot(source) as there:
        if not dry_run:
            work.bring_contents(there)
        try:
            with store.engine.begin() as here, patient(here):
                _lock(here)
                work.all_rows(here, there)
                if dry_run:
                    raise _UndoneError
        except _UndoneError:
            return work.done
        except IntegrityError as error:
            raise StoreError(f"the record store {store.name} was changed by another at the same moment: try again") from error
    work.done.trouble += sweep(store)
    return work.done


def _lock(here: Connection) -> None:
    """Nobody else writes into a SQLite store from here on, so that what is read now stays true; in PostgreSQL no other merge."""
    if here.dialect.name == "sqlite":
        here.exec_driver_sql("PRAGMA secure_delete = ON")
        here.exec_driver_sql("BEGIN IMMEDIATE")
    else:
        here.execute(select(func.pg_advisory_xact_lock(LOCK_KEY)))


class _Merge:
    """One run. `ours[table][id there]` is the id here; `uuids` of what is here by table."""

    def __init__(self, store: Store, source: Store, who: str) -> None:
        self.store, self.source, self.who, self.done = store, source, who, Merged()
        self.gone = Tombstones(frozenset())
        self.ours: dict[str, dict[int, int]] = {}
        self.new: set[str] = set()  # UUIDs of rows that came in this run
        self.alias: dict[str, str] = {}  # UUID there -> UUID here of a recording or photo that both filed by themselves
        self.arrived: dict[int, list[str]] = {}  # id of a job here -> what its audit line will say

    def bring_contents(self, there: Connection) -> None:
        """Of rows that are not here. What is brought and not used after all is named by `jobs check` and is no harm."""
        with self.store.engine.connect() as here:
            self.gone = tombstones(here)
            known = {str(u) for table in WITH_CONTENT for u in here.execute(select(table.c.uuid)).scalars()}
            jobs = {str(u) for u in there.execute(select(JOBS.c.uuid)).scalars()} - self.gone.named("job")
        for table in WITH_CONTENT:
            query = select(table.c.uuid, table.c.content_hash, JOBS.c.uuid.label("job")).join(JOBS, JOBS.c.id == table.c.job_id)
            for row in there.execute(query).mappings().all():
                if row["uuid"] in known or row["job"] not in jobs or self.gone.hold(table, dict(row)):
                    continue
                self._bring(str(row["content_hash"]), there)

    def _bring(self, content_hash: str, there: Connection) -> None:
        try:
            self.store.contents.put_packed(self.source.contents.get_packed(content_hash, there), content_hash)
            self.done.contents += 1
        except StoreError as error:
            self.done.trouble.append(f"{error} (in {self.source.name})")

    def all_rows(self, here: Connection, there: Connection) -> None:
        """In the order in which they refer to each other."""
        self._forget(here, there)
        self._jobs(here, there)
        for table, _ in OWNED:
            self._owned(here, there, table)
        for register in newer_there(here, there, self.alias):  # before any audit line comes over
            self._correct(here, there, register)
        self._audit(here, there)
        self._anonymous(here, there)
        for job_id, texts in sorted(self.arrived.items()):
            uuid = here.execute(select(JOBS.c.uuid).where(JOBS.c.id == job_id)).scalar_one()
            text = f"from {self.source.name}: {', '.join(texts)}"
            write_line(here, "merged", text, job_id, who=self.who, about=str(uuid))
            refresh(here, job_id)

    def _forget(self, here: Connection, there: Connection) -> None:
        """Tombstones of the other store count here too."""
        before = tombstones(here).names
        new = [dict(row) for row in there.execute(select(FORGOTTEN)).mappings() if (row["kind"], row["name"]) not in before]
        names = {(str(row["kind"]), str(row["name"])) for row in new}
        count = 0
        for job_id, uuid in here.execute(select(JOBS.c.id, JOBS.c.uuid)).all():
            if ("job", uuid) in names:
                delete_job(here, job_id, self.who, keep_figures=False)
                count += 1
        for table, kind in OWNED:
            columns = [table.c[name] for name in ("id", "uuid", "job_id", "content_hash") if name in table.c]
            for row in here.execute(select(*columns)).mappings().all():
                if (kind, row["uuid"]) in names:
                    delete_row(here, table, kind, dict(row), self.who)
                    count += 1
        for stone in new:
            add_tombstones(here, {(str(stone["kind"]), str(stone["name"]))}, str(stone["who"]), str(stone["at_utc"]))
        if count:
            write_line(
                here, "forgotten", f"{count} jobs or parts of jobs deleted for privacy, as in {self.source.name}", who=self.who
            )
        self.done.forgotten = count
        self.gone = tombstones(here)
        query = select(STARTS.c.id, JOBS.c.number, STARTS.c.content_hash).join(JOBS, JOBS.c.id == STARTS.c.job_id)
        for start, number, content in here.execute(query):
            if ("content", content) in names:
                self.done.trouble.append(
                    f"start {start} of job {number} holds a recording that was forgotten in {self.source.name}"
                )

    def _jobs(self, here: Connection, there: Connection) -> None:
        ids = {str(uuid): int(row) for row, uuid in here.execute(select(JOBS.c.id, JOBS.c.uuid))}
        taken = {str(number) for number in here.execute(select(JOBS.c.number)).scalars()}
        taken_there = {str(number) for number in there.execute(select(JOBS.c.number)).scalars()}
        ours = self.ours.setdefault(JOBS.name, {})
        for row in there.execute(select(JOBS).order_by(JOBS.c.id)).mappings().all():
            if self.gone.hold(JOBS, dict(row)):
                self.done.kept_out += 1
                continue
            found = ids.get(row["uuid"])
            if found is None:
                number = _fresh(str(row["number"]), taken, taken_there)
                taken.add(number)
                found = _insert(here, JOBS, {**row, "number": number})
                self.new.add(str(row["uuid"]))
                self._count(JOBS)
                self._tell(found, f"job {row['number']} there" + (f" is {number} here" if number != row["number"] else ""))
                if number != row["number"]:
                    self.done.renumbered.append((str(row["number"]), number))
            ours[row["id"]] = found

    def _owned(self, here: Connection, there: Connection, table: StoreTable) -> None:
        """What belongs to jobs. Where the number of a row is another one here, the job's audit line says so."""
        kind, ours = KINDS[table.name], self.ours.setdefault(table.name, {})
        known = {str(uuid): int(str(row)) for row, uuid in here.execute(select(table.c.id, table.c.uuid))}
        names = there.execute(select(table.c.id, table.c.uuid).order_by(table.c.id)).all()
        same = self._same_contents(here, table, {str(uuid) for _, uuid in names}) if table in WITH_CONTENT else {}
        ours.update({int(str(row)): known[uuid] for row, uuid in names if uuid in known})
        for row in _full_rows(there, table, [int(str(row)) for row, uuid in names if uuid not in known]):
            job_id = self.ours[JOBS.name].get(int(str(row["job_id"])))
            if job_id is None or self.gone.hold(table, row):
                self.done.kept_out += 1
                continue
            there_id = int(str(row["id"]))
            if found := same.get((job_id, str(row.get("content_hash")))):
                ours[there_id], self.alias[str(row["uuid"])] = found
                self.done.same += 1
                continue
            ours[there_id] = _insert(here, table, {**row, "job_id": job_id})
            self._count(table)
            self.new.add(str(row["uuid"]))
            self._tell(job_id, kind if ours[there_id] == there_id else f"{kind} {there_id} there is {ours[there_id]} here")

    def _same_contents(self, here: Connection, table: StoreTable, theirs: set[str]) -> dict[tuple[int, str], tuple[int, str]]:
        """(job, hash) of rows that only this store has -> their id and UUID."""
        rows = here.execute(select(table.c.id, table.c.uuid, table.c.job_id, table.c.content_hash).order_by(table.c.id.desc()))
        return {
            (int(str(job)), str(content)): (int(str(row)), str(uuid)) for row, uuid, job, content in rows if uuid not in theirs
        }

    def _correct(self, here: Connection, there: Connection, register: Register) -> None:
        """Takes over what was corrected last in the other store."""
        table, name = register.table, register.column
        if register.about in self.new:
            return
        names_there = [register.about, *(theirs for theirs, ours in self.alias.items() if ours == register.about)]
        value = there.execute(select(table.c[name]).where(table.c.uuid.in_(names_there)).limit(1)).scalar_one_or_none()
        row = here.execute(select(table).where(table.c.uuid == register.about)).mappings().first()
        if name == "job_id" and value is not None:
            value = self.ours[JOBS.name].get(int(str(value)))
        if row is None or value is None or row[name] == value:
            return
        job_id = int(row["id"] if table is JOBS else row["job_id"])
        if name == "number" and here.execute(select(JOBS.c.id).where(JOBS.c.number == value)).first():
            self.done.trouble.append(f"job {row['number']} is called {value} there: another job has that number here")
            return
        here.execute(update(table).where(table.c.id == row["id"]).values({name: value}))
        what = f"job {row['number']}: {name.replace('_', ' ')}" if table is JOBS else f"{KINDS[table.name]} {row['id']}: {name}"
        self.done.changed.append(what.replace("job_id", "job"))
        for touched in {job_id, int(str(value))} if name == "job_id" else {job_id}:
            self._tell(touched, f"{what.partition(': ')[2]} as corrected there")

    def _audit(self, here: Connection, there: Connection) -> None:
        known = {str(uuid) for uuid in here.execute(select(AUDIT.c.uuid)).scalars()}
        for row in there.execute(select(AUDIT).order_by(AUDIT.c.id)).mappings().all():
            job_id = self.ours[JOBS.name].get(row["job_id"])
            forgotten = any((kind, row["about"]) in self.gone.names for kind in KINDS.values())
            if row["uuid"] in known or forgotten or (row["job_id"] is not None and job_id is None):
                continue
            start = self.ours[STARTS.name].get(row["start_id"])
            _insert(here, AUDIT, {**row, "job_id": job_id, "start_id": start})
            self._count(AUDIT)

    def _anonymous(self, here: Connection, there: Connection) -> None:
        known = {str(uuid) for uuid in here.execute(select(ANONYMOUS_STARTS.c.uuid)).scalars()}
        for row in there.execute(select(ANONYMOUS_STARTS).order_by(ANONYMOUS_STARTS.c.id)).mappings().all():
            if row["uuid"] not in known:
                _insert(here, ANONYMOUS_STARTS, dict(row))
                self._count(ANONYMOUS_STARTS)

    def _count(self, table: StoreTable) -> None:
        self.done.rows[table.name] = self.done.rows.get(table.name, 0) + 1

    def _tell(self, job_id: int, text: str) -> None:
        texts = self.arrived.setdefault(job_id, [])
        if text not in texts:
            texts.append(text)


def _fresh(number: str, taken: set[str], taken_there: set[str]) -> str:
    """The number, or where another job has it the first of `1207-2`, `1207-3` that nobody has."""
    if number not in taken:
        return number
    counted = 2
    while (found := f"{number[:190]}-{counted}") in taken | taken_there:
        counted += 1
    return found


def _insert(here: Connection, table: StoreTable, row: dict[str, object]) -> int:
    """A row of the other store as a new one; its id here."""
    made = here.execute(insert(table).values({c.name: row[c.name] for c in table.columns if c.name != "id"}))
    return int(made.inserted_primary_key[0])  # type: ignore[index]


def _full_rows(there: Connection, table: StoreTable, ids: Sequence[int]) -> Iterator[dict[str, object]]:
    """A few at a time."""
    for first in range(0, len(ids), AT_ONCE):
        query = select(table).where(table.c.id.in_(ids[first : first + AT_ONCE])).order_by(table.c.id)
        yield from [dict(row) for row in there.execute(query).mappings()]
