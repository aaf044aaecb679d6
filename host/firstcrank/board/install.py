"""Installs the firmware: checks MicroPython, compiles where it can, copies beside the old files, verifies each by hash, exchanges.

Pulled in the middle, the board keeps what it had: the new files lie in a folder of their own until every hash is right, and
main.py, which also mends a half-done exchange, is replaced last. Calibration and captures are other files and stay.
"""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from firstcrank.board.compiling import compiled
from firstcrank.board.files import MAIN, PACKAGE
from firstcrank.errors import FirstcrankError, LinkLostError, WrongFirmwareError

LEAST_MICROPYTHON = (1, 24)
SPARE_BYTES = 32768
GET_MICROPYTHON = (
    "get the UF2 file for your board from micropython.org/download (RPI_PICO for a Pico), hold BOOTSEL while plugging the "
    "board in, and copy the file to the drive that appears"
)


class Prompt(Protocol):
    """A board at the MicroPython prompt; mpremote's transport is one."""

    def exec(self, command: str) -> bytes:
        """Runs Python on the board and returns what it printed. Raises where that raised."""
        ...

    def fs_writefile(self, dest: str, data: bytes) -> None:
        """Writes a file on the board."""
        ...

    def fs_hashfile(self, path: str, algo: str) -> bytes:
        """Digest of a file on the board."""
        ...


@dataclass(frozen=True, slots=True)
class Found:
    """What is on the board: MicroPython's version, the port's name, free bytes in flash, its mark for compiled files."""

    micropython: tuple[int, int, int]
    platform: str
    free_bytes: int
    mpy: int


def inspect(board: Prompt, root: str = "") -> Found:
    """Raises WrongFirmwareError for another interpreter, one too old, or a board without analog inputs."""
    output = board.exec(
        "import sys, os\n"
        "try:\n import machine\n adc = hasattr(machine, 'ADC')\nexcept ImportError:\n adc = False\n"
        f"s = os.statvfs('{root}/')\n"
        "print((sys.implementation[0], tuple(sys.implementation[1])[:3], sys.platform, adc, s[0] * s[3], "
        "getattr(sys.implementation, '_mpy', 0)))"
    )
    try:
        name, version, platform, adc, free_bytes, mpy = ast.literal_eval(output.decode().strip())
    except (ValueError, SyntaxError) as error:
        raise WrongFirmwareError(f"this board does not run MicroPython: {GET_MICROPYTHON}") from error
    if name != "micropython":
        raise WrongFirmwareError(f"this board runs {name} and not MicroPython: {GET_MICROPYTHON}")
    if tuple(version[:2]) < LEAST_MICROPYTHON:
        least = ".".join(map(str, LEAST_MICROPYTHON))
        raise WrongFirmwareError(
            f"MicroPython {'.'.join(map(str, version))} is too old, {least} or newer is needed: {GET_MICROPYTHON}"
        )
    if not adc:
        raise WrongFirmwareError(
            f"this board ({platform}) has no analog inputs that MicroPython can read: use a Pico-class board"
        )
    return Found((version[0], version[1], version[2]), platform, free_bytes, mpy)


def install(board: Prompt, files: dict[str, bytes], progress: Callable[[str, int, int], None], root: str = "") -> Found:
    """Puts `files` on the board, compiled for it where that can be done here. `root` is for tests.

    progress: called with (name, number, count) before each file.

    Raises WrongFirmwareError, LinkLostError when the board goes away, FirstcrankError when a file arrives damaged.
    """
    found = inspect(board, root)
    files = compiled(files, found.mpy) or files
    needed = sum(map(len, files.values())) + SPARE_BYTES
    if found.free_bytes < needed:
        raise FirstcrankError(f"the board has {found.free_bytes} bytes free and {needed} are needed: delete files on it first")
    fresh = f"{root}/{PACKAGE}.new"
    _run(board, _FUNCTIONS + f"wipe('{fresh}')\nos.mkdir('{fresh}')")
    for number, (name, content) in enumerate(files.items(), start=1):
        progress(name, number, len(files))
        path = f"{fresh}/{name.rpartition('/')[2]}" if name != MAIN else f"{root}/{MAIN}.new"
        _copy(board, path, content)
    _run(board, _FUNCTIONS + _EXCHANGE.format(root=root, package=PACKAGE, main=MAIN))
    return found


_FUNCTIONS = (
    "import os\n"
    "def there(p):\n"
    " try:\n  os.stat(p)\n  return True\n"
    " except OSError:\n  return False\n"
    "def wipe(d):\n"
    " if there(d):\n"
    "  for n in os.listdir(d):\n"
    "   os.remove(d + '/' + n)\n"
    "  os.rmdir(d)\n"
)
_EXCHANGE = (
    "p = '{root}/{package}'\n"
    "wipe(p + '.old')\n"
    "if there(p):\n os.rename(p, p + '.old')\n"
    "os.rename(p + '.new', p)\n"
    "m = '{root}/{main}'\n"
    "try:\n os.rename(m + '.new', m)\n"  # littlefs puts the new file in the old one's place in one step
    "except OSError:\n os.remove(m)\n os.rename(m + '.new', m)\n"
    "wipe(p + '.old')\n"
)


def _copy(board: Prompt, path: str, content: bytes) -> None:
    wanted = hashlib.sha256(content).digest()
    for _ in range(2):
        try:
            board.fs_writefile(path, content)
            if bytes(board.fs_hashfile(path, "sha256")) == wanted:
                return
        except OSError as error:
            raise LinkLostError(f"the board went away while copying {path}; it still has what it had. Try again") from error
    raise FirstcrankError(f"{path} arrives damaged on the board: try another cable, then another port")


def _run(board: Prompt, source: str) -> None:
    try:
        board.exec(source)
    except OSError as error:
        raise LinkLostError("the board went away; it still has what it had. Try again") from error
