"""Recordings and photos by their SHA-256: files beside a SQLite store, rows in a shared database.

A shared PostgreSQL keeps them in the database, because that is the one place every bay is sure to reach and that one backup
covers. A hash shows that a content changed; it does not show who changed it.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from typing import Literal, Protocol

from sqlalchemy import Connection, Engine, func, insert, select
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import StoreError
from firstcrank.jobs.schema import CONTENTS

State = Literal["whole", "missing", "altered"]


def hash_of(content: bytes) -> str:
    """SHA-256 in hex."""
    return hashlib.sha256(content).hexdigest()


class Contents(Protocol):
    """Where contents are kept."""

    def put(self, content: bytes) -> str:
        """Keeps a content for good before it returns; its hash."""
        ...

    def get(self, content_hash: str) -> bytes:
        """The content. Raises StoreError where it is missing or altered."""
        ...

    def state(self, content_hash: str) -> State:
        """Whether it is whole."""
        ...


def _checked(content: bytes, content_hash: str) -> bytes:
    if hash_of(content) != content_hash:
        raise StoreError(f"the recording {content_hash[:12]} was altered after it was filed: its hash no longer fits")
    return content


class FolderContents:
    """Files named by hash in a folder, two letters deep."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, content_hash: str) -> Path:
        """Where a content lies."""
        return self.folder / content_hash[:2] / content_hash

    def put(self, content: bytes) -> str:
        """Written beside, synced, then renamed into place: power lost at any moment leaves all of it or nothing."""
        content_hash = hash_of(content)
        target = self.path(content_hash)
        if target.exists() and hash_of(target.read_bytes()) == content_hash:
            return content_hash
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=target.parent, prefix=".new-")
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
                Path(name).replace(target)
            except BaseException:
                Path(name).unlink(missing_ok=True)
                raise
            _sync_folder(target.parent)
        except OSError as error:
            raise StoreError(f"the recording cannot be kept in {self.folder}: {error.strerror or error}") from error
        return content_hash

    def get(self, content_hash: str) -> bytes:
        """See Contents.get."""
        try:
            return _checked(self.path(content_hash).read_bytes(), content_hash)
        except FileNotFoundError as error:
            raise StoreError(f"the recording {content_hash[:12]} is missing from {self.folder}") from error
        except OSError as error:
            raise StoreError(f"the recording {content_hash[:12]} cannot be read: {error.strerror or error}") from error

    def state(self, content_hash: str) -> State:
        """See Contents.state."""
        path = self.path(content_hash)
        if not path.exists():
            return "missing"
        return "whole" if hash_of(path.read_bytes()) == content_hash else "altered"


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


class DatabaseContents:
    """Rows of the `contents` table."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def put(self, content: bytes) -> str:
        """See Contents.put."""
        content_hash = hash_of(content)
        try:
            with self._engine.begin() as connection:
                if not self._has(connection, content_hash):
                    connection.execute(insert(CONTENTS).values(content_hash=content_hash, content=content))
        except IntegrityError:
            pass  # another bay filed the same content at the same moment
        return content_hash

    def _has(self, connection: Connection, content_hash: str) -> bool:
        count = select(func.count()).select_from(CONTENTS).where(CONTENTS.c.content_hash == content_hash)
        return bool(connection.execute(count).scalar())

    def get(self, content_hash: str) -> bytes:
        """See Contents.get."""
        with self._engine.connect() as connection:
            found = connection.execute(select(CONTENTS.c.content).where(CONTENTS.c.content_hash == content_hash)).scalar()
        if found is None:
            raise StoreError(f"the recording {content_hash[:12]} is missing from the store")
        return _checked(bytes(found), content_hash)

    def state(self, content_hash: str) -> State:
        """See Contents.state."""
        with self._engine.connect() as connection:
            found = connection.execute(select(CONTENTS.c.content).where(CONTENTS.c.content_hash == content_hash)).scalar()
        if found is None:
            return "missing"
        return "whole" if hash_of(bytes(found)) == content_hash else "altered"
