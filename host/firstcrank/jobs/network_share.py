"""Whether a file lies on a network share, where SQLite's write-ahead log must not be."""

from __future__ import annotations

import sys
from pathlib import Path

# Kinds of file systems as Linux names them in /proc/self/mountinfo (proc(5)).
SHARES = ("nfs", "cifs", "smb", "afs", "9p", "ncpfs", "fuse.sshfs", "fuse.davfs", "davfs", "glusterfs", "ceph", "lustre")
MOUNTS = Path("/proc/self/mountinfo")
REMOTE_DRIVE = 4  # Windows: GetDriveTypeW


def share_of(path: Path, mounts: Path = MOUNTS) -> str:
    """The kind of network share that a path is on; empty for a disk of this computer, or where that can't be told."""
    path = path.resolve()
    if sys.platform == "win32":
        import ctypes

        anchor = path.anchor
        remote = anchor.startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(anchor) == REMOTE_DRIVE
        return "network drive" if remote else ""
    try:
        lines = mounts.read_text("utf-8", "replace").splitlines()
    except OSError:
        return ""
    kind, longest = "", -1
    for line in lines:
        before, _, after = line.partition(" - ")
        point = before.split(" ")[4].encode("latin-1", "replace").decode("unicode_escape") if before.count(" ") >= 4 else ""
        if point and path.is_relative_to(point) and len(point) > longest:
            kind, longest = after.split(" ")[0], len(point)
    return kind if kind.startswith(SHARES) else ""


def warning(path: Path) -> str:
    """A line about a SQLite file on a share; empty for none.

    Source: SQLite documentation, "Write-Ahead Logging", section 1: all processes must be on the same host computer.
    """
    kind = share_of(path)
    if not kind:
        return ""
    return (
        f"{path} lies on a network share ({kind}): two computers that write such a file at once can destroy it. Keep it on a disk of "
        "this computer, or use a PostgreSQL server for several"
    )
