"""firstcrank doctor: is everything there that a first start needs; ends with the next command to type."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, TypedDict

import click

from firstcrank.cli.say import say, say_json
from firstcrank.errors import FirstcrankError, UsageError

FILE = click.Path(dir_okay=False, path_type=Path)
LEAST_FREE_BYTES = 200_000_000
WANTED_PYTHON = (3, 11)


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """One thing looked at: whether it is well, what was found, and what to do where it is not."""

    what: Annotated[str, "`Python`, `settings`, `disk`, `record store`, `port`, `board`, `calibration`, `extras`"]
    well: bool
    found: str
    do: Annotated[str, "what to type or do where it is not well"] = ""


class DoctorTable(TypedDict):
    """What `doctor --json` prints."""

    well: Annotated[bool, "all is there that a first start needs; the exit code is 1 where not"]
    looked: Annotated[list[Diagnosis], "what was looked at, in order"]
    next: Annotated[str, "what to type or do next"]


@click.command()
@click.option("--port", help="Serial port, pyserial URL, or sim:NAME. Default: the only board plugged in.")
@click.option("--store", envvar="FIRSTCRANK_STORE", help="Record store.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object and nothing else.")
@click.option(
    "--bundle",
    type=FILE,
    help="Write a ZIP file for somebody who helps: findings, settings, versions, log. Nothing of customers.",
)
@click.option("--with", "recording", type=FILE, help="The bundle's recording. Default: last, the newest one kept.")
@click.option("--no-recording", is_flag=True, help="No recording in the bundle.")
def doctor(
    port: str | None, store: str | None, as_json: bool, bundle: Path | None, recording: Path | None, no_recording: bool
) -> int:
    """Look at Python, settings, disk, store, ports and their permissions, board, firmware, calibration; say what to type next.

    Exit code: 0 all well, 1 something is to be done (it says what).

    \b
    Examples:
      firstcrank doctor
      firstcrank doctor --port sim:healthy --json
      firstcrank doctor --bundle help.zip
      firstcrank doctor --bundle help.zip --no-recording
    """
    chosen = None if bundle is None or no_recording else _recording(recording)
    on_board, identity = _board(port)
    diagnoses = [_python(), _settings(), _disk(), _store(store), *_ports(), *on_board, *_extras()]
    bad = [one for one in diagnoses if not one.well]
    following = bad[0].do if bad else "firstcrank start"
    found: DoctorTable = {"well": not bad, "looked": diagnoses, "next": following}
    parts = [] if bundle is None else _bundle(bundle, found, identity, chosen)
    if as_json:
        say_json(json.dumps(found, ensure_ascii=False, default=asdict))
    else:
        for one in diagnoses:
            say(f"{'ok  ' if one.well else 'TO DO'} {one.what}: {one.found}")
        for part in parts:
            say(f"in {bundle}  {part}")
        say(f"Next: {following}")
    return 1 if bad else 0


def _recording(named: Path | None) -> Path | None:
    """The recording for the bundle: the one named, else the newest one kept, if any. Raises UsageError for a name that is not there."""
    from firstcrank.settings import last_recording, read_settings

    if named is not None and str(named) != "last":
        if not named.is_file():
            raise UsageError(f"{named} is not there: firstcrank doctor --help says what --with takes")
        return named
    try:
        return last_recording(read_settings().folder)
    except FirstcrankError:
        if named is not None:
            raise
        return None


def _bundle(path: Path, found: DoctorTable, identity: Mapping[str, object], recording: Path | None) -> list[str]:
    from firstcrank.cli.support_bundle import write_bundle
    from firstcrank.settings import read_settings

    try:
        settings: dict[str, object] = dict(read_settings().values)
    except FirstcrankError as error:
        settings = {"unreadable": str(error)}
    log: str | None = click.get_current_context().find_root().params.get("log")
    return write_bundle(path, found, settings, identity, recording, Path(log) if log else None)


def _python() -> Diagnosis:
    version = ".".join(map(str, sys.version_info[:3]))
    return Diagnosis("Python", sys.version_info[:2] >= WANTED_PYTHON, version, "install Python 3.11 or newer")


def _settings() -> Diagnosis:
    from firstcrank.settings import read_settings

    try:
        settings = read_settings()
    except FirstcrankError as error:
        return Diagnosis("settings", False, str(error), "firstcrank config")
    found = f"{len(settings.values)} set in {settings.path}" if settings.path.exists() else "none, defaults stand"
    return Diagnosis("settings", True, found)


def _disk() -> Diagnosis:
    from firstcrank.settings import read_settings

    try:
        folder = read_settings().folder
    except FirstcrankError:
        return Diagnosis("disk", False, "the settings can't be read", "firstcrank config")
    while not folder.exists():
        folder = folder.parent
    free = shutil.disk_usage(folder).free
    well = free > LEAST_FREE_BYTES and os.access(folder, os.W_OK)
    return Diagnosis(
        "disk", well, f"{free // 1_000_000} MB free for recordings in {folder}", f"make room, or another folder in {folder}"
    )


def _store(place: str | None) -> Diagnosis:
    from firstcrank.jobs.outbox import waiting as waiting_for
    from firstcrank.jobs.store import open_store

    try:
        with open_store(place, create=False) as store:
            name = store.name if place else "this computer's own"
            waiting = len(waiting_for(store.name)[0])
            if store.read_only:
                return Diagnosis("record store", False, store.notes[-1], "make room on its disk, or get rights to its folder")
            if waiting:
                return Diagnosis(
                    "record store", False, f"{name}; {waiting} starts wait on this computer for it", "firstcrank jobs send"
                )
            return Diagnosis("record store", True, name)
    except FirstcrankError as error:
        return Diagnosis("record store", False, str(error), "firstcrank jobs --help")


def _ports() -> list[Diagnosis]:
    from firstcrank.link.ports import board_ports

    ports = board_ports()
    found = []
    for port in ports:
        well = os.name != "posix" or os.access(port.device, os.R_OK | os.W_OK)
        found.append(
            Diagnosis(
                "port", well, port.device, f"sudo usermod -a -G dialout {os.environ.get('USER', '$USER')}, then log in again"
            )
        )
    return found


def _board(port: str | None) -> tuple[list[Diagnosis], Mapping[str, object]]:
    """What was found of the board, and what it says of itself (nothing where none answered)."""
    from datetime import UTC, datetime

    from firstcrank import wire
    from firstcrank.calibration import Calibration
    from firstcrank.calibration_age import age_warning
    from firstcrank.link.board_client import BoardClient
    from firstcrank.link.open import open_link

    try:
        client = BoardClient(open_link(port))
    except FirstcrankError as error:
        do = "plug the board in with a cable that carries data, then firstcrank doctor"
        return [Diagnosis("board", False, str(error), do)], {}
    try:
        identity = client.handshake()
        found = [Diagnosis("board", True, f"{client.link.name}, {identity.get('chip')}, firmware {identity.get('firmware')}")]
        stored = client.ask(wire.CALIBRATE, wire.REPLY, {}).get("calibration")
        if not stored:
            return [*found, Diagnosis("calibration", False, "none on the board", "firstcrank board calibrate")], identity
        old = age_warning(Calibration.from_json(stored), datetime.now(UTC).date())
        age_text = str(old) if old else "on the board, fresh enough"
        return [*found, Diagnosis("calibration", not old, age_text, "firstcrank board calibrate")], identity
    except FirstcrankError as error:
        return [Diagnosis("board", False, str(error), "firstcrank board install")], client.identity
    finally:
        client.close()


def _extras() -> list[Diagnosis]:
    from importlib.util import find_spec

    named = {"asammdf": "MDF export", "psycopg": "shared record store"}
    have = [what for module, what in named.items() if find_spec(module)]
    return [Diagnosis("extras", True, ", ".join(have) or "none installed (none needed for a start)")]
