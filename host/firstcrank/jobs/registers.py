"""What can be corrected after it was filed, and which of two stores corrected it last: by the audit lines that only one of them has.

A store that has lines about a value that the other lacks, while the other has none, knows more: its value counts. Where both have,
the later line counts (of the same second the one with the higher UUID), the same in both directions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from sqlalchemy import Connection, select

from firstcrank.jobs.records import JOB_FIELDS
from firstcrank.jobs.schema import AUDIT, JOBS, NOTES, PHOTOS, STARTS, StoreTable

Lines: TypeAlias = dict["Register", tuple[str, str]]
BY_ACTION: dict[str, tuple[tuple[StoreTable, str], ...]] = {
    "archived": ((JOBS, "archived"),),
    "out of archive": ((JOBS, "archived"),),
    "start marked": ((STARTS, "state"),),
    "start moved": ((STARTS, "job_id"),),
    "note corrected": ((NOTES, "text"),),
    "for customer": ((NOTES, "for_customer"), (PHOTOS, "for_customer")),  # the UUID tells which of the two
    "not for customer": ((NOTES, "for_customer"), (PHOTOS, "for_customer")),
}


@dataclass(frozen=True)
class Register:
    """One value that can be corrected: a column of the row with this UUID."""

    table: StoreTable
    about: str
    column: str


def newer_there(here: Connection, there: Connection, alias: Mapping[str, str]) -> list[Register]:
    """Every value that the other store corrected last. `alias`: UUIDs of the other store that are called otherwise here."""
    mine, theirs = _lines(here), _lines(there)
    lacking_here = _latest({uuid: line for uuid, line in theirs.items() if uuid not in mine}, alias)
    lacking_there = _latest({uuid: line for uuid, line in mine.items() if uuid not in theirs}, alias)
    return [register for register, at in lacking_here.items() if at > lacking_there.get(register, ("", ""))]


def _lines(connection: Connection) -> dict[str, tuple[str, str, str, str]]:
    """Time, action, row and text of each line by its UUID."""
    query = select(AUDIT.c.uuid, AUDIT.c.at_utc, AUDIT.c.action, AUDIT.c.about, AUDIT.c.text).order_by(AUDIT.c.id)
    return {
        str(uuid): (str(at), str(action), str(about), str(text)) for uuid, at, action, about, text in connection.execute(query)
    }


def _latest(lines: Mapping[str, tuple[str, str, str, str]], alias: Mapping[str, str]) -> Lines:
    found: Lines = {}
    for uuid, (at, action, about, text) in lines.items():
        columns = BY_ACTION.get(action, ())
        if action == "job changed" and (name := text.partition(": ")[0]) in (*JOB_FIELDS, "number"):
            columns = ((JOBS, name),)
        for table, column in columns:
            register = Register(table, alias.get(about, about), column)
            found[register] = max(found.get(register, ("", "")), (at, uuid))
    return found
