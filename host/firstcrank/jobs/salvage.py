"""A damaged store into a new one: every row that can be read, every recording that fits its hash. The old one is not touched."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import ColumnElement, Connection, Engine, column, func, insert, literal_column, select, table
from sqlalchemy.exc import IntegrityError, SQLAlchemyError

from firstcrank.errors import FirstcrankError, StoreError, UsageError
from firstcrank.jobs.backup_file import of_today
from firstcrank.jobs.contents import SUFFIX, FolderContents
from firstcrank.jobs.filing import attach
from firstcrank.jobs.migrations.versions.v0005_crank_voltage import name_what_lines_are_about
from firstcrank.jobs.records import add_photo, create_job
from firstcrank.jobs.restore import numbers_go_on
from firstcrank.jobs.schema import FORGOTTEN, JOBS, StoreTable
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.snapshot import TABLES, hashes
from firstcrank.jobs.store import Store, raw_store

JOB = "salvaged"  # of what no longer says where it belongs
CHUNK = 200
MOST_ROWS = 10_000_000  # a higher number is damage
MASTER = {"sqlite": "sqlite_master", "postgresql": "pg_class"}  # where a database lists its tables
EMPTY_CHUNKS = 25  # in a row, after which nothing more is looked for where the highest number cannot be read


@dataclass(slots=True)
class Salvaged:
    """Rows saved by table; contents saved; recordings found without a row and filed with the job "salvaged"; what is lost."""

    rows: dict[str, int] = field(default_factory=dict)
    contents: int = 0
    lonely: int = 0
    lost: list[str] = field(default_factory=list)


def salvage(place: str | None, target: Store) -> Salvaged:
    """Fills an empty store with what can be read. Raises UsageError where it holds jobs, StoreError where nothing can be opened."""
    with target.engine.connect() as connection:
        if connection.execute(select(JOBS.c.id).limit(1)).first() is not None:
            raise UsageError("salvage only into a new store: name a file that is not there")
    done = Salvaged()
    with raw_store(place) as source:
        if not _is_database(source.engine):
            done.lost.append(f"{source.name} is no database any more: none of its rows can be read")
        if source.place.file is not None and source.place.file == target.place.file:
            raise UsageError("salvage into another file than the damaged one")
        _tables(source, target, done)
        _contents(source, target, done)
        if isinstance(source.contents, FolderContents):
            _lonely(source.contents, target, done)
    with target.engine.begin() as connection:
        for job_id in connection.execute(select(JOBS.c.id)).scalars().all():
            refresh(connection, job_id)
        name_what_lines_are_about(connection)
        numbers_go_on(connection)
    return done


def _tables(source: Store, target: Store, done: Salvaged) -> None:
    for kind in TABLES:
        count = 0
        for row in _readable(source.engine, kind, done):
            with target.engine.begin() as connection:
                count += _keep(connection, kind, row, done)
        done.rows[kind.name] = count


def _keep(connection: Connection, kind: StoreTable, row: dict[str, object], done: Salvaged) -> int:
    """One row; a row whose job is lost goes to the job for such."""
    known = {name: value for name, value in of_today(kind, row).items() if name in kind.c}
    if known.get("job_id") is not None and "job_id" in known:
        there = connection.execute(select(JOBS.c.id).where(JOBS.c.id == known["job_id"])).first()
        known["job_id"] = known["job_id"] if there else _job_of_the_lost(connection)
    try:
        with connection.begin_nested():
            connection.execute(insert(kind).values(**known))
    except (IntegrityError, StoreError, SQLAlchemyError, ValueError, TypeError):
        done.lost.append(f"row {row.get('id')} of {kind.name} no longer makes sense")
        return 0
    return 1


def _job_of_the_lost(connection: Connection) -> int:
    found = connection.execute(select(JOBS.c.id).where(JOBS.c.number == JOB)).scalar()
    if found is None:
        values = {"number": JOB, "created_utc": "", "archived": False}
        made = connection.execute(insert(JOBS).values(**values))
        found = int(made.inserted_primary_key[0])  # type: ignore[index]
    return int(found)


def _readable(engine: Engine, kind: StoreTable, done: Salvaged) -> Iterator[dict[str, object]]:
    """Every row that can be read, in chunks of numbers; a chunk that cannot is read one by one. Damage can make a row come twice."""
    if kind is FORGOTTEN:
        yield from _all(engine, kind)
        return
    if not _is_database(engine):
        return
    highest = _highest(engine, kind)
    if highest is None:
        done.lost.append(f"{kind.name}: how many rows there were can't be read")
    first, empty = 1, 0
    seen: set[object] = set()
    while (first <= highest) if highest is not None else (empty < EMPTY_CHUNKS):
        rows = _chunk(engine, kind, first, first + CHUNK - 1, done if highest is not None else None)
        empty = 0 if rows else empty + 1
        for row in rows:
            if row["id"] not in seen:
                seen.add(row["id"])
                yield row
        first += CHUNK


def _is_database(engine: Engine) -> bool:
    try:
        with engine.connect() as connection:
            connection.execute(select(literal_column("1")).select_from(table(MASTER[engine.dialect.name]))).first()
    except (SQLAlchemyError, StoreError):
        return False
    return True


def _all(engine: Engine, kind: StoreTable) -> Iterator[dict[str, object]]:
    try:
        with engine.connect() as connection:
            yield from [dict(row) for row in connection.execute(select(kind)).mappings()]
    except (SQLAlchemyError, StoreError):
        return


def _highest(engine: Engine, kind: StoreTable) -> int | None:
    try:
        with engine.connect() as connection:
            highest = int(str(connection.execute(select(func.max(kind.c.id))).scalar() or 0))
    except (SQLAlchemyError, StoreError, ValueError):
        return None
    return highest if highest <= MOST_ROWS else None


def _chunk(engine: Engine, kind: StoreTable, first: int, last: int, done: Salvaged | None) -> list[dict[str, object]]:
    rows = table(kind.name, column("id"))
    everything: ColumnElement[object] = literal_column("*")
    query = select(everything).select_from(rows).where(rows.c.id.between(first, last))
    try:
        with engine.connect() as connection:
            return [dict(row) for row in connection.execute(query).mappings()]
    except (SQLAlchemyError, StoreError, ValueError) as error:
        if "no such table" in str(error) or "does not exist" in str(error):
            return []  # of an earlier version
        if first == last:
            if done is not None:  # else nobody knows whether there was such a row
                done.lost.append(f"row {first} of {kind.name} can't be read")
            return []
    return [row for number in range(first, last + 1) for row in _chunk(engine, kind, number, number, done)]


def _contents(source: Store, target: Store, done: Salvaged) -> None:
    with target.engine.connect() as connection:
        wanted = hashes(connection)
    for content_hash in wanted:
        try:
            target.contents.put_packed(source.contents.get_packed(content_hash), content_hash)
            done.contents += 1
        except (StoreError, SQLAlchemyError) as error:
            done.lost.append(str(error))


def _lonely(source: FolderContents, target: Store, done: Salvaged) -> None:
    """Recordings and photos beside the damaged file that no row names any more, judged and filed anew."""
    with target.engine.connect() as connection:
        named = set(hashes(connection))
    for path in sorted(source.folder.glob("??/*")):
        content_hash = path.name.removesuffix(SUFFIX)
        if content_hash in named or path.name.startswith("."):
            continue
        try:
            content = source.get(content_hash)
        except StoreError as error:
            done.lost.append(str(error))
            continue
        _file_lonely(target, content_hash, content)
        done.lonely += 1


def _file_lonely(target: Store, content_hash: str, content: bytes) -> None:
    with target.engine.connect() as connection:
        there = connection.execute(select(JOBS.c.id).where(JOBS.c.number == JOB)).first()
    if there is None:
        create_job(target, JOB)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{content_hash[:12]}.salvaged"
        path.write_bytes(content)
        try:
            attach(target, JOB, path)
        except FirstcrankError:
            add_photo(target, JOB, path.name, content, "found beside the store")
