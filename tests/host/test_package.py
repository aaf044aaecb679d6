"""The package as it is built: one version, both packages typed."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import firstcrank
from firstcrank import wire

ROOT = Path(__file__).parents[2]


def test_the_version_is_written_once() -> None:
    listing = ["git", "ls-files", "host", "firmware", "pyproject.toml"]
    tracked = subprocess.run(listing, cwd=ROOT, capture_output=True, text=True, check=True)
    written = re.compile(rf'\b(?:__version__|FIRMWARE_VERSION|version)\b\s*=\s*"{re.escape(wire.FIRMWARE_VERSION)}"')
    found = [name for name in tracked.stdout.split() if written.search((ROOT / name).read_text("utf-8"))]
    assert found == ["host/firstcrank/wire.py"]
    assert firstcrank.__version__ == wire.FIRMWARE_VERSION


def test_both_packages_ship_their_types() -> None:
    for package in ("firstcrank", "firstcrank_sim"):
        assert (ROOT / "host" / package / "py.typed").is_file()
