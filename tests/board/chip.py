"""An emulated chip for a test: its own process, its port, its end."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from . import flash_image
from .image import micropython_image

ROOT = Path(__file__).parents[2]


@contextlib.contextmanager
def emulated_chip(folder: Path, scenario: str = "healthy", files: dict[str, bytes] | None = None) -> Iterator[str]:
    """Boots the image with `files` (the firmware if not given) in flash; yields the name of its serial port."""
    image = micropython_image()
    flash = folder / "flash.img"
    flash_image.build(flash, flash_image.firmware_files() if files is None else files)
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.board.run_chip", str(image), str(flash), scenario],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        port = process.stdout.readline().strip()
        assert port, "the emulator did not start"
        yield port
    finally:
        process.kill()
        process.wait()
