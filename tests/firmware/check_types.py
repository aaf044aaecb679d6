"""Types of the firmware, by mypy's strict rules, against stubs of MicroPython instead of Python's standard library.

    python -m tests.firmware.check_types

Prints what mypy finds; ends with 1 where that is anything. The files are laid out as on a board, those shared with the host beside
the firmware's own. The stubs are fetched once, into build/.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from firstcrank.board.files import MAIN, PACKAGE, PORTABLE, board_files

ROOT = Path(__file__).resolve().parents[2]
TYPES = Path(__file__).resolve().parent / "types"
REQUIREMENTS = TYPES / "requirements.txt"
DECLARATIONS = "board_types.pyi"


def stubs() -> Path:
    """Folder of the stubs, named by what is asked for; installed when it is not there. Raises RuntimeError where pip cannot."""
    folder = ROOT / "build" / f"micropython_stubs_{hashlib.sha256(REQUIREMENTS.read_bytes()).hexdigest()[:12]}"
    if folder.is_dir():
        return folder
    folder.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent) as fresh:
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-deps"]
        target = Path(fresh) / "stubs"
        done = subprocess.run(
            [*pip, "--target", str(target), "--requirement", str(REQUIREMENTS)], capture_output=True, text=True, check=False
        )
        if done.returncode != 0:
            raise RuntimeError(f"no stubs of MicroPython: {done.stderr.strip()}")
        try:
            target.rename(folder)
        except OSError:
            if not folder.is_dir():  # else another process was first
                raise
    return folder


def problems(files: dict[str, bytes]) -> list[str]:
    """mypy's errors and notes, a line each, for files by their path on the board. Raises RuntimeError where mypy did not come to an end."""
    found = stubs()
    with tempfile.TemporaryDirectory() as folder:
        for name, content in files.items():
            path = Path(folder) / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
        (Path(folder) / DECLARATIONS).write_bytes((TYPES / DECLARATIONS).read_bytes())
        command = [sys.executable, "-m", "mypy", "--config-file", str(TYPES / "mypy.ini"), "--custom-typeshed-dir", str(found)]
        done = subprocess.run(
            [*command, "--cache-dir", os.devnull, "--no-error-summary", "--no-color-output"],
            cwd=folder,
            env=os.environ | {"MYPYPATH": str(found)},
            capture_output=True,
            text=True,
            check=False,
        )
    lines = done.stdout.splitlines()
    if done.returncode not in (0, 1) or (done.returncode == 1 and not lines):
        raise RuntimeError(f"mypy did not run: {done.stdout[-500:]}{done.stderr[-500:]}")
    return [_in_checkout(line) for line in lines]


def _in_checkout(line: str) -> str:
    """The file's path as it stands in the checkout."""
    name, colon, rest = line.partition(":")
    if name in {f"{PACKAGE}/{shared}.py" for shared in PORTABLE}:
        name = "host/firstcrank/" + Path(name).name
    elif name == MAIN or name.startswith(PACKAGE + "/"):
        name = "firmware/" + name
    elif name == DECLARATIONS:
        name = "tests/firmware/types/" + name
    return name + colon + rest


if __name__ == "__main__":
    lines = problems(board_files())
    for line in lines:
        print(line)
    sys.exit(1 if lines else 0)
