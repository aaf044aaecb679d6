"""Starts kept on this computer while their record store is away: one file each, whole or not at all, until they are filed.

A file is one line of JSON (which store, which job, the start's row with its UUID, the hash of its recording), a line's end, and the
recording packed. No password is in it: a store is known by its name without one.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firstcrank.errors import StoreError
from firstcrank.jobs.packing import Packed, hash_of, pack, unpack
from firstcrank.jobs.times import now_utc
from firstcrank.whole_file import PRIVATE, sync_folder, whole_file, whole_in

ENVIRONMENT = "FIRSTCRANK_OUTBOX"
FORMAT = 1
SUFFIX = ".start"


@dataclass(frozen=True, slots=True)
class Waiting:
    """A start that waits: `store` by its name without a password, `job` by its number, `row` without what the store gives."""

    path: Path
    store: str
    job: str
    kept_utc: str
    row: Mapping[str, object]
    content_hash: str

    def content(self) -> bytes:
        """The recording. Raises StoreError where the file was damaged since."""
        _, packed = _read(self.path)
        return unpack(packed, self.content_hash)


def outbox_folder() -> Path:
    """Where they wait: the environment's folder, else the platform's data folder."""
    from platformdirs import user_data_path

    given = os.environ.get(ENVIRONMENT)
    return Path(given) if given else user_data_path("firstcrank", appauthor=False) / "outbox"


def keep(store: str, job: str, content: bytes, row: Mapping[str, object]) -> Path:
    """Keeps a start for good before it returns. Raises UnwritableFileError, StoreError where it can't be kept."""
    folder = outbox_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise StoreError(f"{folder} cannot be made: {error.strerror or error}") from error
    packed = pack(content)
    about = {
        "format": FORMAT,
        "store": store,
        "job": job,
        "kept_utc": now_utc(),
        "content_hash": hash_of(content),
        "codec": packed.codec,
        "row": dict(row),
    }
    path = folder / f"{row['uuid']}{SUFFIX}"
    with whole_file(path, replace=True, mode=PRIVATE) as file:
        file.write(json.dumps(about, ensure_ascii=False).encode("utf-8") + b"\n")
        file.write(packed.data)
    return path


def anything_waits() -> bool:
    """Whether any start waits for any store: quick to ask."""
    return bool(whole_in(outbox_folder(), f"*{SUFFIX}"))


def waiting(store: str | None = None) -> tuple[tuple[Waiting, ...], tuple[str, ...]]:
    """What waits for a store (None: for any), the oldest first; and a line for each file that cannot be read."""
    found, trouble = [], []
    for path in whole_in(outbox_folder(), f"*{SUFFIX}"):
        try:
            about, _ = _read(path)
            entry = Waiting(
                path,
                str(about["store"]),
                str(about["job"]),
                str(about["kept_utc"]),
                _table(about["row"]),
                str(about["content_hash"]),
            )
        except FileNotFoundError:
            continue  # another program has just filed it
        except (OSError, ValueError, KeyError, TypeError, StoreError) as error:
            trouble.append(f"{path} can't be read ({error}): it stays there")
            continue
        if store is None or entry.store == store:
            found.append(entry)
    return tuple(sorted(found, key=lambda entry: (entry.kept_utc, entry.path.name))), tuple(trouble)


def remove(entry: Waiting) -> None:
    """After it was filed. Where this is lost with the power, it is sent again and its UUID tells."""
    entry.path.unlink(missing_ok=True)
    sync_folder(entry.path.parent)


def _table(value: object) -> dict[str, object]:
    if not isinstance(value, dict):
        raise ValueError("no row in it")
    return value


def _read(path: Path) -> tuple[dict[str, object], Packed]:
    head, _, data = path.read_bytes().partition(b"\n")
    about = json.loads(head)
    if not isinstance(about, dict) or about.get("format") != FORMAT:
        raise StoreError("kept by a newer firstcrank: update this one")
    return about, Packed(data, str(about["codec"]))
