"""What somebody who helps from afar needs, as one ZIP file: nothing of customers, vehicles or passwords but what the recording holds."""

from __future__ import annotations

import json
import platform
import sys
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import distributions
from pathlib import Path

from firstcrank import __version__
from firstcrank.cli.without_secrets import without_secrets
from firstcrank.errors import UnwritableFileError, cannot_write

MOST_LOG_BYTES = 1_000_000
HIDDEN = "technician"  # settings that name a person


def write_bundle(
    path: Path,
    doctor: Mapping[str, object],
    settings: Mapping[str, object],
    identity: Mapping[str, object],
    recording: Path | None,
    log: Path | None = None,
) -> list[str]:
    """Writes the bundle; returns what is in it, a line each. `recording` goes in as it is, where there is one.

    `identity` is what the board says of itself, empty where none answered. `log`: what `--log` wrote, its last million bytes.

    Raises UnwritableFileError where the file is already there or can't be written.
    """
    shown = {name: "(left out)" if name == HIDDEN and value else value for name, value in settings.items()}
    texts = {
        "doctor.json": json.dumps(doctor, ensure_ascii=False, indent=1, default=asdict),
        "settings.json": json.dumps(shown, ensure_ascii=False, indent=1, default=str),
        "board.json": json.dumps(identity, ensure_ascii=False, indent=1, default=str),
        "machine.json": json.dumps(_machine(), indent=1),
    }
    kinds = ("what doctor found", "settings", "what the board says of itself", "versions")
    parts = [f"{name}: {what}" for name, what in zip(texts, kinds, strict=True)]
    if log is not None:
        texts["log.txt"] = _end_of(log)
        parts.append("log.txt: what --log wrote")
    try:
        with zipfile.ZipFile(path, "x", zipfile.ZIP_DEFLATED, strict_timestamps=False) as bundle:
            for name, text in texts.items():
                bundle.writestr(name, without_secrets(text))
            if recording is not None:
                bundle.write(recording, recording.name)
                parts.append(f"{recording.name}: the recording, whole (--no-recording leaves it out)")
    except FileExistsError:
        raise UnwritableFileError(f"{path} is already there: choose another name") from None
    except OSError as error:
        path.unlink(missing_ok=True)
        raise UnwritableFileError(cannot_write(path, error)) from error
    return parts


def _end_of(log: Path) -> str:
    try:
        with log.open("rb") as file:
            file.seek(max(log.stat().st_size - MOST_LOG_BYTES, 0))
            return file.read().decode("utf-8", "replace")
    except OSError as error:
        return f"{log}: {error.strerror or error}"


def _machine() -> dict[str, object]:
    packages: Sequence[str] = sorted(f"{d.name} {d.version}" for d in distributions() if d.name)
    return {
        "firstcrank": __version__,
        "python": sys.version,
        "system": platform.platform(),
        "encoding": sys.stdout.encoding,
        "packages": packages,
    }
