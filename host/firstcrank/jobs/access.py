"""Who may read a SQLite store's files: its owner alone, or the owner's group where several people of one computer share a folder."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from firstcrank.errors import StoreError, UsageError

RECORDINGS = "-recordings"


@dataclass(frozen=True, slots=True)
class Access:
    """Modes of a store's files and folders (POSIX); Windows has its own rights, which a new file takes from its folder."""

    file_mode: int
    folder_mode: int


OWNER = Access(0o600, 0o700)
GROUP = Access(0o660, 0o2770)  # set-group-ID: what is made in the folder belongs to the group as well


def recordings_folder(file: Path) -> Path:
    """Where the recordings and photos of a SQLite store are."""
    return file.with_name(file.stem + RECORDINGS)


def access_of(file: Path) -> Access:
    """What the store's file says: new files follow it. The owner's alone where there is no file yet."""
    try:
        mode = file.stat().st_mode
    except OSError:
        return OWNER
    return GROUP if os.name == "posix" and mode & stat.S_IWGRP else OWNER


def make_private(file: Path) -> None:
    """An empty file for its owner alone, before a database writes into it. One that is there stays as it is."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_RDWR, OWNER.file_mode))


def seen_by_all(file: Path) -> bool:
    """Whether any user of this computer can read it."""
    return os.name == "posix" and bool(file.stat().st_mode & stat.S_IROTH)


def set_access(file: Path, group: str | None) -> int:
    """Gives a store to a group (its name; "" for the group it has), or to its owner alone (None); how many files that were.

    Raises UsageError for a group that is not there, StoreError where the rights cannot be changed.
    """
    number = _group_number(group) if group else -1
    access = OWNER if group is None else GROUP
    changed = 0
    try:
        for path in _files(file):
            if number >= 0:
                os.chown(path, -1, number)
            path.chmod(access.folder_mode if path.is_dir() else access.file_mode)
            changed += 1
    except OSError as error:
        raise StoreError(f"the rights of {error.filename or file} can't be changed: {error.strerror or error}") from error
    return changed


def _files(file: Path) -> Iterator[Path]:
    yield from (path for path in (file, *(file.with_name(file.name + end) for end in ("-wal", "-shm"))) if path.exists())
    folder = recordings_folder(file)
    if folder.is_dir():
        yield folder
        yield from folder.rglob("*")


def _group_number(name: str) -> int:
    if os.name != "posix":
        raise UsageError("groups of files are set in the folder's properties here")
    import grp

    try:
        return grp.getgrnam(name).gr_gid
    except KeyError as error:
        raise UsageError(f"there is no group {name} on this computer") from error
