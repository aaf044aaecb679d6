"""`--log FILE`: what happened, for somebody who looks for a fault. Nothing of customers or vehicles, no passwords.

A line each: time (UTC), level, where, text. INFO is what happened (port opened, the board's answer, the store, each verdict),
WARNING what was lost or refused, ERROR what ended the program, DEBUG every command and state.
"""

from __future__ import annotations

import logging
import platform
import time
from collections.abc import Sequence
from pathlib import Path

import click

from firstcrank import __version__
from firstcrank.cli.without_secrets import without_secrets
from firstcrank.errors import FirstcrankError, UnwritableFileError, cannot_write
from firstcrank.log import ROOT, logger
from firstcrank.printable import printable

LOG = logger(__name__)
FORMAT = "%(asctime)s.%(msecs)03dZ %(levelname)-7s %(name)s: %(message)s"
# Options whose values say nothing of a customer; of the others the name alone is logged.
PLAIN_VALUES = (
    "--port", "--lead", "--acquisition", "--bin-ms", "--watch", "--longest", "--system", "--feed", "--cylinders", "--temperature",
    "--known-load", "--hold-on", "--patience", "--for", "--starter-on", "--starter-rest", "--oil-within",
)  # fmt: skip
GROUPS = ("board", "jobs", "limits")  # a second name follows these


class LogFile:
    """An open log. Lines of the packages go to it, and nowhere else, until it is closed."""

    def __init__(self, path: Path) -> None:
        """Appends to the file, or makes it. Raises UnwritableFileError."""
        try:
            self._handler = logging.FileHandler(path, encoding="utf-8")
        except OSError as error:
            raise UnwritableFileError(cannot_write(path, error)) from error
        self._handler.setFormatter(_OneLineEach(FORMAT, "%Y-%m-%dT%H:%M:%S"))
        self._root = logging.getLogger(ROOT)
        self._level = self._root.level
        self._root.addHandler(self._handler)
        self._root.setLevel(logging.DEBUG)

    def close(self) -> None:
        """Gives the file back."""
        self._root.removeHandler(self._handler)
        self._root.setLevel(self._level)
        self._handler.close()


class _OneLineEach(logging.Formatter):
    """UTC; control characters visible; no password, no home folder. A traceback keeps its lines."""

    @staticmethod
    def converter(seconds: float | None) -> time.struct_time:
        """UTC."""
        return time.gmtime(seconds)

    def format(self, record: logging.LogRecord) -> str:
        first, *more = super().format(record).split("\n")
        return without_secrets("\n    ".join(printable(line) for line in (first, *more)))


_open: list[LogFile] = []


def begin(path: Path, typed: Sequence[str]) -> None:
    """Opens the log and writes which program runs, where, and what was typed. Raises UnwritableFileError."""
    _open.append(LogFile(path))
    LOG.info("firstcrank %s, Python %s, %s", __version__, platform.python_version(), platform.platform())
    LOG.info("typed: %s", shown(typed))


def end(error: BaseException | None, code: int = 0) -> None:
    """Writes what ended the program, or its exit code, and closes the log."""
    if _open and error is not None:
        foreseen = isinstance(error, FirstcrankError | click.ClickException | click.Abort | SystemExit | KeyboardInterrupt)
        LOG.error("ended by %s: %s", type(error).__name__, error, exc_info=None if foreseen else error)
    elif _open:
        LOG.info("ended with exit code %d", code)
    while _open:
        _open.pop().close()


def shown(typed: Sequence[str]) -> str:
    """What was typed, with "..." for everything that may be a customer's: job numbers, names, texts, places."""
    parts: list[str] = []
    plain = value = False  # the next part is the value of an option, and may be shown
    commands = 1
    for part in typed:
        name, given, _ = part.partition("=")
        if part.startswith("-"):
            plain, value = name in PLAIN_VALUES, not given and (name in PLAIN_VALUES or name == "--log")
            parts.append(part if plain or not given else f"{name}=...")
        elif value:
            parts.append(part if plain else "...")
            plain = value = False
        else:
            parts.append(part if commands else "...")
            commands = int(commands == 1 and part in GROUPS)
    return " ".join(parts)
