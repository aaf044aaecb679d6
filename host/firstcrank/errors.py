"""Every error the host raises on purpose, each class named by what the user should do next.

A FAIL or NO VERDICT is a result, never an exception. The command line turns each of these
into one plain line on standard error and the exit code that stands beside the class.
"""

from __future__ import annotations

import errno

_WRITABLE_AGAIN = {
    errno.ENOSPC: "make room on the disk, or choose another",
    errno.EDQUOT: "make room on the disk, or choose another",
    errno.ENOENT: "no such folder: make it, or choose another",
    errno.ENOTDIR: "no such folder: choose another",
    errno.EISDIR: "it is a folder: add a file name",
}


def cannot_write(path: object, error: Exception) -> str:
    """One line about a file that cannot be written: the system's reason, and what to do about it."""
    reason = getattr(error, "strerror", None) or str(error)
    what_to_do = _WRITABLE_AGAIN.get(getattr(error, "errno", 0), "choose another folder or name")
    return f"{path} cannot be written: {reason}; {what_to_do}"


class FirstcrankError(Exception):
    """Root of all errors raised on purpose.

    Attributes:
        exit_code: What the command line returns for it: 4, unless a class below says 2.
    """

    exit_code = 4


class UsageError(FirstcrankError):
    """Something typed or written by the user cannot be used: an option, a limits file, a column map."""

    exit_code = 2


class LimitsError(UsageError):
    """A limits file has an unknown key or a value outside its range. The message names the key and the range."""


class CalibrationError(UsageError):
    """A calibration is missing, unreadable, or does not fit the board or the channels of the recording."""


class MissingExtraError(UsageError):
    """A part that is installed on request is missing: install the extra that the message names."""


class NoBoardError(FirstcrankError):
    """No board answers: plug it in, or name the port."""


class PortBusyError(FirstcrankError):
    """The port exists but another program holds it: close that program."""


class PortPermissionError(FirstcrankError):
    """The operating system refuses access to the port: join the group, install the driver rule."""


class WrongFirmwareError(FirstcrankError):
    """The board runs something else or another version: install the firmware."""


class LinkLostError(FirstcrankError):
    """The cable was pulled or the board went silent while it was in use."""


class BoardRefusedError(FirstcrankError):
    """The board understood a command and refused it. The message is the board's reason."""


class UnreadableTraceError(FirstcrankError):
    """A trace file is empty, not one of ours, or malformed. The message names file, line and column."""


class UnwritableFileError(FirstcrankError):
    """A file cannot be written: choose another folder or name, or make room on the disk."""


class StoreError(FirstcrankError):
    """The record store cannot be reached, is newer than this program, or is damaged."""


class StoreNotThereError(StoreError):
    """There is no record store of that name: correct the name, or make a new one."""

    exit_code = 2


class StoreAwayError(StoreError):
    """The record store does not answer, has no room or cannot be written now: what was to be filed waits on this computer."""
