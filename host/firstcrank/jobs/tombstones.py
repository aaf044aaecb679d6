"""What was deleted for privacy is known by UUIDs and hashes alone, so that outbox, merge and restore never take it in again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from firstcrank.jobs.audit import user
from firstcrank.jobs.schema import FORGOTTEN, JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS, StoreTable
from firstcrank.jobs.times import now_utc

OWNED: tuple[tuple[StoreTable, str], ...] = (
    (STARTS, "start"),
    (NOTES, "note"),
    (MEASUREMENTS, "measurement"),
    (PHOTOS, "photo"),
)
KINDS = {JOBS.name: "job", **{table.name: kind for table, kind in OWNED}}


@dataclass(frozen=True, slots=True)
class Tombstones:
    """All of a store: (kind, name) as in the table `forgotten`."""

    names: frozenset[tuple[str, str]]

    def named(self, kind: str) -> set[str]:
        """Names of one kind."""
        return {name for of, name in self.names if of == kind}

    def hold(self, table: StoreTable, row: dict[str, object]) -> bool:
        """Whether a row was forgotten, by its UUID or by its content."""
        kind = KINDS.get(table.name)
        if kind is None:
            return table is FORGOTTEN and (row["kind"], row["name"]) in self.names
        return (kind, row["uuid"]) in self.names or ("content", row.get("content_hash")) in self.names


def tombstones(connection: Connection) -> Tombstones:
    """Of a store."""
    rows = connection.execute(select(FORGOTTEN.c.kind, FORGOTTEN.c.name))
    return Tombstones(frozenset((str(kind), str(name)) for kind, name in rows))


def add_tombstones(connection: Connection, stones: Iterable[tuple[str, str]], who: str, at_utc: str = "") -> None:
    """Those that are not there yet."""
    rows = [
        {"kind": kind, "name": name, "at_utc": at_utc or now_utc(), "who": who.strip() or user()}
        for kind, name in sorted(set(stones) - tombstones(connection).names)
    ]
    if rows:
        connection.execute(insert(FORGOTTEN), rows)


def number_hash(number: str) -> str:
    """A job's number as its tombstone keeps it (SHA-256): what waits on a laptop knows the job by nothing else."""
    return hashlib.sha256(number.encode("utf-8")).hexdigest()


def number_forgotten(connection: Connection, number: str, kept_utc: str) -> str:
    """The day on which a job of that number was forgotten, not before `kept_utc`; empty where it was not.

    A job that gets the number later is another one.
    """
    query = select(FORGOTTEN.c.at_utc).where(FORGOTTEN.c.kind == "number", FORGOTTEN.c.name == number_hash(number))
    at_utc = str(connection.execute(query).scalar() or "")
    return at_utc[:10] if at_utc >= kept_utc else ""
