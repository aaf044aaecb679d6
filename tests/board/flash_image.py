"""A flash file system with the firmware files on it, as the install command leaves them: compiled for the RP2040."""

from __future__ import annotations

from pathlib import Path

from firstcrank.board.compiling import compiled
from firstcrank.board.files import board_files

RP2040_MPY = 4 << 10 | 3 << 8 | 6  # sys.implementation._mpy of the official image: armv6m, 6.3


def firmware_files(plain: bool = False) -> dict[str, bytes]:
    """Path on the board -> content."""
    files = board_files()
    if not plain:
        files = compiled(files, RP2040_MPY) or files
    return {f"/{name}": content for name, content in files.items()}


def build(path: Path, files: dict[str, bytes], kind: str = "pico") -> None:
    """Writes a littlefs image of `files` for the RP2040 port's file system; `kind` as in emulator.board_kind."""
    from littlefs import LittleFS, UserContext
    from rp2040py.utils.firmware_retrieve import MICROPYTHON, flash_layout

    layout = flash_layout(MICROPYTHON, kind)
    size, count = layout["fs_blocksize"], layout["fs_blockcount"]
    file_system = LittleFS(
        context=UserContext(buffsize=size * count), block_size=size, block_count=count, prog_size=256, disk_version=0x00020000
    )
    for name in sorted({Path(name).parent.as_posix() for name in files} - {"/"}):
        file_system.mkdir(name)
    for name, content in files.items():
        with file_system.open(name, "wb") as file:
            file.write(content)
    file_system.unmount()
    path.write_bytes(file_system.context.buffer)
