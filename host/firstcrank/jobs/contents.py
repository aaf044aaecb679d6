"""Recordings and photos by their SHA-256: files beside a SQLite store, rows in a shared database. Compressed once, when filed.

A shared PostgreSQL keeps them in the database, because that is the one place every bay is sure to reach and that one backup
covers. A hash is of the content before it was compressed; it shows that a content changed, not who changed it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Protocol

from sqlalchemy import Connection, Engine, delete, insert, select
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import StoreError, UnwritableFileError
from firstcrank.jobs.access import OWNER, Access
from firstcrank.jobs.packing import PLAIN, ZLIB, Packed, hash_of, pack, unpack
from firstcrank.jobs.schema import CONTENTS
from firstcrank.whole_file import whole_file

State = Literal["whole", "missing", "altered"]
SUFFIX = ".z"  # of a compressed file; contents filed by earlier versions have none


class Contents(Protocol):
    """Where contents are kept."""

    def put(self, content: bytes) -> str:
        """Keeps a content for good before it returns; its hash."""
        ...

    def put_packed(self, packed: Packed, content_hash: str) -> None:
        """Keeps a content that is packed already. Raises StoreError where it does not fit its hash."""
        ...

    def get(self, content_hash: str) -> bytes:
        """The content. Raises StoreError where it is missing or altered."""
        ...

    def get_packed(self, content_hash: str, connection: Connection | None = None) -> Packed:
        """As it is kept, unchecked, as `connection`'s transaction sees it. Raises StoreError where it is missing."""
        ...

    def state(self, content_hash: str) -> State:
        """Whether it is whole."""
        ...

    def remove(self, content_hash: str) -> None:
        """Deletes a content that was forgotten for privacy, where it is there. Raises StoreError where it can't be."""
        ...


class _Reading:
    """What both kinds read alike."""

    def get_packed(self, content_hash: str, connection: Connection | None = None) -> Packed:
        raise NotImplementedError

    def get(self, content_hash: str) -> bytes:
        """See Contents.get."""
        return unpack(self.get_packed(content_hash), content_hash)

    def state(self, content_hash: str) -> State:
        """See Contents.state."""
        try:
            packed = self.get_packed(content_hash)
        except StoreError:
            return "missing"
        try:
            unpack(packed, content_hash)
        except StoreError:
            return "altered"
        return "whole"


class FolderContents(_Reading):
    """Files named by hash in a folder, two letters deep."""

    def __init__(self, folder: Path, durable: bool = True, access: Access = OWNER) -> None:
        self.folder, self._durable, self._access = folder, durable, access

    def path(self, content_hash: str) -> Path:
        """Where a content lies: the file that is there, else the name that a compressed one would get."""
        plain = self.folder / content_hash[:2] / content_hash
        return plain if plain.exists() else plain.with_name(content_hash + SUFFIX)

    def put(self, content: bytes) -> str:
        """Written beside, synced, then renamed into place: power lost at any moment leaves all of it or nothing."""
        content_hash = hash_of(content)
        if self.state(content_hash) != "whole":
            self._write(pack(content), content_hash)
        return content_hash

    def put_packed(self, packed: Packed, content_hash: str) -> None:
        """See Contents.put_packed."""
        unpack(packed, content_hash)
        if self.state(content_hash) != "whole":
            self._write(packed, content_hash)

    def _write(self, packed: Packed, content_hash: str) -> None:
        plain = self.folder / content_hash[:2] / content_hash
        compressed = plain.with_name(content_hash + SUFFIX)
        target, other = (compressed, plain) if packed.codec == ZLIB else (plain, compressed)
        try:
            for folder in (self.folder, target.parent):
                if not folder.is_dir():
                    folder.mkdir(parents=True, exist_ok=True)
                    folder.chmod(self._access.folder_mode)  # mkdir's own mode is cut by the umask
            with whole_file(target, True, self._durable, self._access.file_mode) as file:
                file.write(packed.data)
            other.unlink(missing_ok=True)  # an altered one
        except (OSError, UnwritableFileError) as error:
            raise StoreError(f"the recording cannot be kept: {error}") from error

    def get_packed(self, content_hash: str, connection: Connection | None = None) -> Packed:
        """See Contents.get_packed."""
        path = self.path(content_hash)
        try:
            return Packed(path.read_bytes(), ZLIB if path.suffix == SUFFIX else PLAIN)
        except FileNotFoundError as error:
            raise StoreError(f"the recording {content_hash[:12]} is missing from {self.folder}") from error
        except OSError as error:
            raise StoreError(f"the recording {content_hash[:12]} cannot be read: {error.strerror or error}") from error

    def remove(self, content_hash: str) -> None:
        """See Contents.remove. As any file that is deleted: its blocks are used again by the disk some day."""
        plain = self.folder / content_hash[:2] / content_hash
        for path in (plain, plain.with_name(content_hash + SUFFIX)):
            try:
                path.unlink(missing_ok=True)
            except OSError as error:
                raise StoreError(f"{path} cannot be deleted: {error.strerror or error}") from error


class DatabaseContents(_Reading):
    """Rows of the `contents` table."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def put(self, content: bytes) -> str:
        """See Contents.put."""
        content_hash = hash_of(content)
        self._insert(content_hash, None, content)
        return content_hash

    def put_packed(self, packed: Packed, content_hash: str) -> None:
        """See Contents.put_packed."""
        unpack(packed, content_hash)
        self._insert(content_hash, packed)

    def _insert(self, content_hash: str, packed: Packed | None, content: bytes = b"") -> None:
        try:
            with self._engine.begin() as connection:
                there = select(CONTENTS.c.content_hash).where(CONTENTS.c.content_hash == content_hash)
                if connection.execute(there).first() is None:
                    kept = packed or pack(content)
                    values = {"content_hash": content_hash, "content": kept.data, "codec": kept.codec}
                    connection.execute(insert(CONTENTS).values(**values))
        except IntegrityError:
            pass  # another bay filed the same content at the same moment

    def get_packed(self, content_hash: str, connection: Connection | None = None) -> Packed:
        """See Contents.get_packed."""
        query = select(CONTENTS.c.content, CONTENTS.c.codec).where(CONTENTS.c.content_hash == content_hash)
        if connection is not None:
            found = connection.execute(query).first()
        else:
            with self._engine.connect() as own:
                found = own.execute(query).first()
        if found is None:
            raise StoreError(f"the recording {content_hash[:12]} is missing from the store")
        return Packed(bytes(found[0]), str(found[1]))

    def remove(self, content_hash: str) -> None:
        """See Contents.remove."""
        with self._engine.begin() as connection:
            connection.execute(delete(CONTENTS).where(CONTENTS.c.content_hash == content_hash))
