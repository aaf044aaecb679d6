"""The firmware files that go onto a board: from the checkout, or from the wheel that carries them."""

from __future__ import annotations

from pathlib import Path

from firstcrank import wire
from firstcrank.errors import FirstcrankError

PACKAGE = "firstcrank_board"
MAIN = "main.py"


def firmware_folder() -> Path:
    """Folder with main.py and firstcrank_board/. Raises FirstcrankError where this copy of firstcrank has none."""
    here = Path(__file__).resolve().parents[1]
    for folder in (here / "board_files", here.parents[1] / "firmware"):
        if (folder / MAIN).is_file() and (folder / PACKAGE).is_dir():
            return folder
    raise FirstcrankError("the firmware files are missing from this installation: install firstcrank again")


def board_files() -> dict[str, bytes]:
    """Path on the board (without the leading slash) -> content. wire.py is the host's own, byte for byte."""
    folder = firmware_folder()
    files = {f"{PACKAGE}/{source.name}": source.read_bytes() for source in sorted((folder / PACKAGE).glob("*.py"))}
    files[f"{PACKAGE}/wire.py"] = Path(wire.__file__).read_bytes()
    files[MAIN] = (folder / MAIN).read_bytes()
    return files
