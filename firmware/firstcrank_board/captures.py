"""Captures in flash: numbered files of frames, written under another name and renamed when complete, so that a power cut damages no other.

NNNN.fcr is a capture that nobody has fetched, NNNN.got one that a host has: only those make room for new ones. What a power cut
left half written is NNNN.new and is swept away when the next capture begins. The file system (littlefs) is power-safe itself.
"""

import binascii
import os

if 0:  # for mypy alone: compiled to nothing
    from typing import Any

    from board_types import Table, View

SUFFIX, FETCHED, UNFINISHED = ".fcr", ".got", ".new"
SPARE_BYTES = 40960  # left free, so that the file system can move its blocks
PIECE = 256


class Captures:
    """`folder` on the board's file system; made when it is first needed."""

    def __init__(self, folder: str) -> None:
        self.folder = folder

    def names(self) -> "list[str]":
        """Names of the captures, the oldest first."""
        try:
            found = os.listdir(self.folder)
        except OSError:
            return []
        return sorted([name for name in found if name[-4:] in (SUFFIX, FETCHED)])

    def table(self) -> "list[Table]":
        """A list for the host: number, bytes, fetched."""
        return [
            {"number": int(name[:4]), "bytes": os.stat(self._path(name))[6], "fetched": name.endswith(FETCHED)}
            for name in self.names()
        ]

    def read(self, number: int, offset: int, view: bytearray) -> "int | Any":
        """Fills `view` from a capture; returns how many bytes that were. Raises OSError for a number that is not there."""
        with open(self._path(self._name_of(number)), "rb") as file:
            file.seek(offset)
            return file.readinto(view)

    def size(self, number: int) -> int:
        """Bytes of a capture. Raises OSError for a number that is not there."""
        return os.stat(self._path(self._name_of(number)))[6]

    def mark_fetched(self, number: int) -> None:
        """From now on it may make room for a new one."""
        name = self._name_of(number)
        if name.endswith(SUFFIX):
            os.rename(self._path(name), self._path(name[:4] + FETCHED))

    def begin(self, most_bytes: int) -> "Writer":
        """A Writer for the next capture. Raises OSError where there is no room and nothing fetched to give up for it."""
        self._make_folder()
        self._sweep()
        while self._free() < most_bytes + SPARE_BYTES:
            fetched = [name for name in self.names() if name.endswith(FETCHED)]
            if not fetched:
                raise OSError(28)  # ENOSPC
            os.remove(self._path(fetched[0]))
        taken = [int(name[:4]) for name in self.names()]
        number = max(taken) + 1 if taken else 1
        return Writer(self, number)

    def _make_folder(self) -> None:
        try:
            os.mkdir(self.folder)
        except OSError:
            pass  # there already; if not, opening the file says so

    def _sweep(self) -> None:
        for name in os.listdir(self.folder):
            if name.endswith(UNFINISHED):
                os.remove(self._path(name))

    def _free(self) -> int:
        status = os.statvfs(self.folder)
        return status[0] * status[3]

    def _name_of(self, number: int) -> str:
        for name in self.names():
            if name[:4] == "%04d" % number:
                return name
        raise OSError(2)  # ENOENT

    def _path(self, name: str) -> str:
        return self.folder + "/" + name


class Writer:
    """A stream for an outbox. `close` puts the capture in place; until then it does not exist."""

    def __init__(self, captures: "Captures", number: int) -> None:
        self.number = number
        self._stem = captures.folder + "/%04d" % number
        self._crc = 0
        self._file = open(self._stem + UNFINISHED, "wb")

    def writable(self) -> bool:
        """Always."""
        return True

    def write(self, view: "View") -> "int | Any":
        """Bytes written, all of them. Raises OSError when the flash takes no more."""
        count = self._file.write(view)
        self._crc = binascii.crc32(view, self._crc)
        return count

    def close(self) -> None:
        """Reads it back, then gives it its name. Raises OSError where what is in the flash is not what was written."""
        piece = bytearray(PIECE)
        view = memoryview(piece)
        self._copy_description(piece, view)
        self._file.close()
        crc = 0
        with open(self._stem + UNFINISHED, "rb") as file:
            while True:
                count = file.readinto(piece)
                if not count:
                    break
                crc = binascii.crc32(view[:count], crc)
        if crc != self._crc:
            raise OSError(5)  # EIO
        os.rename(self._stem + UNFINISHED, self._stem + SUFFIX)

    def _copy_description(self, piece: bytearray, view: memoryview) -> None:
        """The first frame (STREAM: limits, calibration) once more at the end, so that one worn byte does not cost the capture."""
        self._file.flush()
        at = first = -1
        last = 0
        with open(self._stem + UNFINISHED, "rb") as file:
            while not last:
                count = file.readinto(piece)
                if not count:
                    return  # no whole frame
                for n in range(count):
                    at += 1
                    if piece[n] and first < 0:
                        first = at
                    elif not piece[n] and first >= 0:
                        last = at
                        break
            file.seek(first)
            while first <= last:
                count = min(file.readinto(piece), last + 1 - first)
                self.write(view[:count])
                first += count

    def give_up(self) -> None:
        """Leaves nothing behind."""
        try:
            self._file.close()
            os.remove(self._stem + UNFINISHED)
        except OSError:
            pass
