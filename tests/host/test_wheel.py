"""The wheel carries what a user without the checkout needs: the firmware files and the shipped data."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
def test_the_wheel_carries_firmware_and_data(tmp_path: Path) -> None:
    made = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--no-deps", "--quiet", "--wheel-dir", str(tmp_path), str(ROOT)],
        capture_output=True,
        text=True,
    )
    assert made.returncode == 0, made.stderr
    (wheel,) = tmp_path.glob("*.whl")
    inside = set(zipfile.ZipFile(wheel).namelist())
    for source in (ROOT / "firmware").rglob("*.py"):
        assert f"firstcrank/board_files/{source.relative_to(ROOT / 'firmware').as_posix()}" in inside
    for source in (ROOT / "host" / "firstcrank").rglob("*"):
        if source.is_file() and "__pycache__" not in source.parts:
            assert f"firstcrank/{source.relative_to(ROOT / 'host' / 'firstcrank').as_posix()}" in inside
