"""A file that is there whole or not at all, whatever happens while it is written."""

from __future__ import annotations

import contextlib
import os
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from firstcrank.errors import UnwritableFileError, UsageError, cannot_write

PRIVATE = 0o600
FRESH = ".new-"  # the name of what is being written begins so


@contextlib.contextmanager
def whole_file(target: Path, replace: bool = False, durable: bool = True, mode: int | None = None) -> Iterator[BinaryIO]:
    """A file to write that takes its name when the block ends well; synced first, so that power lost leaves all or nothing.

    `mode`: who may read it, PRIVATE for its owner alone; None: as any new file. `durable` False: not synced, for a file that is
    soon deleted. Raises UsageError where the name is taken (and `replace` is not set), UnwritableFileError where it cannot be written.
    """
    with whole_path(target, replace, durable, mode) as fresh, fresh.open("r+b") as file:
        yield file


@contextlib.contextmanager
def whole_path(target: Path, replace: bool = False, durable: bool = True, mode: int | None = None) -> Iterator[Path]:
    """As whole_file, for what writes by name: an empty file of the same suffix beside the target, to be written."""
    if target.exists() and not replace:
        raise UsageError(f"{target} is already there: choose another name")
    fresh = target.with_name(f"{FRESH}{uuid.uuid4().hex[:12]}{target.suffix}")
    try:
        os.close(os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666 if mode is None else mode))
        if mode is not None:
            fresh.chmod(mode)  # not cut by the umask
        yield fresh
        if durable:
            sync(fresh)
        fresh.replace(target)
        if durable:
            sync_folder(target.parent)
    except OSError as error:
        raise UnwritableFileError(cannot_write(target, error)) from error
    finally:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)


@contextlib.contextmanager
def whole_files(target: Path) -> Iterator[Path]:
    """As whole_path, for what writes more files beside the one that is named: they get their names first, the target last."""
    if target.exists():
        raise UsageError(f"{target} is already there: choose another name")
    try:
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=FRESH, ignore_cleanup_errors=True) as folder:
            yield Path(folder) / target.name
            for made in sorted(Path(folder).iterdir(), key=lambda path: path.name == target.name):
                sync(made)
                made.replace(target.with_name(made.name))
            sync_folder(target.parent)
    except OSError as error:
        raise UnwritableFileError(cannot_write(target, error)) from error


def whole_in(folder: Path, pattern: str) -> list[Path]:
    """Files of a folder by name, sorted, less those that are being written or whose writing was cut off."""
    return sorted(path for path in folder.glob(pattern) if not path.name.startswith(FRESH))


def sync(path: Path) -> None:
    """What was written into a file survives a loss of power."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """A name that was just given survives a loss of power."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
