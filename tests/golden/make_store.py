"""Makes the golden record store and its backup. Written for, and to be run in, a tree of the commit that README.md names."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

from tests.golden.make_recordings import firstcrank


def small_png() -> bytes:
    """A red square of 8 by 8 (W3C PNG specification, clauses 5 and 11)."""
    rows = b"".join(b"\x00" + b"\xc0\x20\x20" * 8 for _ in range(8))

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 8, 8, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def store(folder: Path, recordings: Path) -> None:
    """Two jobs, three starts, a note, a measurement, a photo; then the backup of it."""
    place = ("--store", str(folder / "shop.sqlite"))

    def jobs(*args: str) -> None:
        done = firstcrank("jobs", *args, *place)
        print(args[0], done.returncode, done.stdout.strip(), done.stderr.strip())
        assert done.returncode == 0

    photo = folder / "plug.png"
    photo.write_bytes(small_png())
    about = ("--vehicle", "Marigold, farm pickup", "--odometer", "81200 mi", "--engine", "crate diesel, 6 cylinders")
    jobs("new", "1207", *about, "--technician", "R. Hale")
    jobs("new", "1300/b", "--vehicle", "Marigold, spare cab")
    jobs("attach", "1207", str(recordings / "feed_resistance.fcr"), str(recordings / "own_limits.fcr"))
    jobs("attach", "1300/b", str(recordings / "healthy_24v.fcr"))
    jobs("note", "1207", "moved the feed to terminal 15 – Klemme 15", "--who", "R. Hale")
    jobs("measured", "1207", "ground strap drop", "0.12", "V", "--meter", "pocket meter")
    jobs("attach", "1207", str(photo), "--caption", "module plug, pin 4")
    jobs("archive", "1300/b")
    jobs("backup", str(folder / "shop-backup.zip"))
    photo.unlink()
