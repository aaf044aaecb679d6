"""What a row is called wherever it goes: a UUID, so that stores can be merged and a start is filed once however often it is sent.

Rows filed before there were UUIDs get one from what they hold (RFC 9562, version 5): two copies of one store, or a store and
its backup, name the same row alike.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping

RECORD = uuid.UUID("5b1c9f0e-6d3a-5c48-9c57-3f1d0a7be2d4")  # the namespace of this program's rows
# The columns that never change after a row is filed.
FIXED = {
    "jobs": ("id", "created_utc", "number"),
    "starts": ("id", "filed_utc", "content_hash"),
    "notes": ("id", "written_utc", "who", "text"),
    "measurements": ("id", "taken_utc", "what", "unit"),
    "photos": ("id", "added_utc", "name", "content_hash"),
}


def new_uuid() -> str:
    """A random one (version 4), 36 characters."""
    return str(uuid.uuid4())


def uuid_of_old_row(table: str, row: Mapping[str, object]) -> str:
    """The one UUID of a row that was filed without. Raises KeyError for a table without rows of its own."""
    return str(uuid.uuid5(RECORD, json.dumps([table, *(row[name] for name in FIXED[table])], ensure_ascii=True)))
