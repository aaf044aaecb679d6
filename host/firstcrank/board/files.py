"""The firmware files that go onto a board: from the checkout, or from the wheel that carries them."""

from __future__ import annotations

from pathlib import Path

from firstcrank.errors import FirstcrankError

PACKAGE = "firstcrank_board"
MAIN = "main.py"
# Files of the host's that run on the board as they are, byte for byte; the installer puts them beside the firmware's own.
PORTABLE = ("roles", "start_tracker", "wire")


def firmware_folder() -> Path:
    """Folder with main.py and firstcrank_board/. Raises FirstcrankError where this copy of firstcrank has none."""
    here = Path(__file__).resolve().parents[1]
    for folder in (here / "board_files", here.parents[1] / "firmware"):
        if (folder / MAIN).is_file() and (folder / PACKAGE).is_dir():
            return folder
    raise FirstcrankError("the firmware files are missing from this installation: install firstcrank again")


def portable_folder() -> Path:
    """Folder of the files named in PORTABLE."""
    return Path(__file__).resolve().parents[1]


def board_files() -> dict[str, bytes]:
    """Path on the board (without the leading slash) -> content."""
    folder = firmware_folder()
    files = {f"{PACKAGE}/{source.name}": source.read_bytes() for source in sorted((folder / PACKAGE).glob("*.py"))}
    files |= {f"{PACKAGE}/{name}.py": (portable_folder() / f"{name}.py").read_bytes() for name in PORTABLE}
    files[MAIN] = (folder / MAIN).read_bytes()
    return files
