"""A file that is there whole or not at all, whatever happens while it is written."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from firstcrank.errors import UnwritableFileError, UsageError


@contextlib.contextmanager
def whole_file(target: Path, replace: bool = False, durable: bool = True, mode: int = 0o600) -> Iterator[BinaryIO]:
    """A file to write that takes its name when the block ends well; synced first, so that power lost leaves all or nothing.

    `mode`: who may read it; its owner alone. `durable` False: not synced, for a file that is soon deleted.
    Raises UsageError where the name is taken (and `replace` is not set), UnwritableFileError where it cannot be written.
    """
    if target.exists() and not replace:
        raise UsageError(f"{target} is already there: choose another name")
    fresh: Path | None = None
    try:
        try:
            handle, name = tempfile.mkstemp(dir=target.parent, prefix=".new-")
            fresh = Path(name)
            os.close(handle)
            with fresh.open("w+b") as file:  # so that the file knows its name
                yield file
                file.flush()
                if durable:
                    os.fsync(file.fileno())
            fresh.chmod(mode)
            fresh.replace(target)
            fresh = None
            if durable:
                sync_folder(target.parent)
        except OSError as error:
            raise UnwritableFileError(f"{target} cannot be written: {error.strerror or error}") from error
    finally:
        if fresh is not None:
            fresh.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """A name that was just given survives a loss of power."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
