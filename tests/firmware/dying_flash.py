"""A flash under the real littlefs (its C library, PyPI littlefs-python) that loses its power in the middle of an erase or a program.

`Files` stands in for `os` and `open` in the firmware's file code. Geometry: the plain RP2040 board's file system under MicroPython,
352 blocks of 4,096 bytes, programmed by pages of 256.
"""

from __future__ import annotations

import errno
import random
from typing import Any

from littlefs import LittleFS, UserContext
from littlefs.errors import LittleFSError

BLOCK, BLOCKS, PAGE = 4096, 352, 256
IO_ERROR = -5  # LFS_ERR_IO


class DyingFlash(UserContext):
    """`cut_at` operations are still done whole; the next is half done, and nothing after it is done at all."""

    def __init__(self, content: bytearray | None = None, cut_at: int | None = None, seed: int = 0) -> None:
        super().__init__(buffer=content if content is not None else bytearray(b"\xff") * (BLOCK * BLOCKS))
        self.operations, self.cut_at, self.dead = 0, cut_at, False
        self._dice = random.Random(seed)

    def _dies(self) -> bool:
        if self.cut_at is not None and self.operations >= self.cut_at:
            self.dead = True
        self.operations += 1
        return self.dead

    def prog(self, cfg: Any, block: int, off: int, data: bytes) -> int:
        """Programming only clears bits; cut, it has done the first bytes."""
        if self.dead:
            return IO_ERROR
        dies = self._dies()
        begin = block * BLOCK + off
        for n in range(self._dice.randrange(len(data)) if dies else len(data)):
            self.buffer[begin + n] &= data[n]
        return IO_ERROR if dies else 0

    def erase(self, cfg: Any, block: int) -> int:
        """Erasing sets all bits; cut, it has set some of them."""
        if self.dead:
            return IO_ERROR
        begin = block * BLOCK
        if self._dies():
            for n in range(begin, begin + BLOCK):
                self.buffer[n] |= self._dice.getrandbits(8) & self._dice.getrandbits(8)
            return IO_ERROR
        self.buffer[begin : begin + BLOCK] = b"\xff" * BLOCK
        return 0


class PowerCut(BaseException):
    """Nobody catches this."""


class Files:
    """The part of `os`, and `open`, that the firmware's captures use."""

    def __init__(self, flash: DyingFlash, fresh: bool = False) -> None:
        self.flash = flash
        self._handles: list[Any] = []
        self.fs = LittleFS(
            context=flash,
            block_size=BLOCK,
            block_count=BLOCKS,
            read_size=PAGE,
            prog_size=PAGE,
            mount=not fresh,
            disk_version=0x20000,
        )
        if fresh:
            self.fs.format()
            self.fs.mount()

    def _try(self, what: Any, *args: Any) -> Any:
        try:
            return what(*args)
        except LittleFSError as error:
            if self.flash.dead:
                for handle in self._handles:  # nothing of them is closed any more, not even when Python collects them
                    _leave_open(handle)
                raise PowerCut from error
            raise OSError(-error.code if error.code > -100 else errno.EIO, str(error)) from error

    def listdir(self, path: str) -> list[str]:
        return list(self._try(self.fs.listdir, path))

    def mkdir(self, path: str) -> None:
        self._try(self.fs.mkdir, path)

    def remove(self, path: str) -> None:
        self._try(self.fs.remove, path)

    def rename(self, old: str, new: str) -> None:
        self._try(self.fs.rename, old, new)

    def stat(self, path: str) -> tuple[int, ...]:
        return (0, 0, 0, 0, 0, 0, self._try(self.fs.stat, path).size)

    def statvfs(self, path: str) -> tuple[int, ...]:
        return (BLOCK, BLOCK, BLOCKS, BLOCKS - self.fs.used_block_count)

    def open(self, path: str, mode: str = "r") -> Any:
        handle = self._try(self.fs.open, path, mode)
        self._handles.append(handle)
        return _File(self, handle)


def _leave_open(handle: Any) -> None:
    """Python must not close it a second time: littlefs lets go of a file even where closing it fails, and then aborts the process."""
    for part in (handle, handle.raw):
        part.close = part.flush = lambda: None


class _File:
    """A file whose errors are OSErrors, as MicroPython's are."""

    def __init__(self, files: Files, handle: Any) -> None:
        self._files, self._handle, self._closed = files, handle, False

    def close(self) -> None:
        """A second time it does nothing, as in MicroPython."""
        if not self._closed:
            self._closed = True
            try:
                self._files._try(self._handle.close)
            except OSError:
                _leave_open(self._handle)
                raise

    def __enter__(self) -> _File:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __getattr__(self, name: str) -> Any:
        method = getattr(self._handle, name)
        return lambda *args: self._files._try(method, *args)
