"""The shipped firmware on the official image on an emulated RP2040, and the shipped host tool, through to a verdict.

Long (minutes each): runs where FIRSTCRANK_CHIP_LONG is set, skips with that reason elsewhere.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from . import flash_image
from .chip import emulated_chip

pytestmark = [
    pytest.mark.emulated_chip,
    pytest.mark.slow,
    pytest.mark.skipif("FIRSTCRANK_CHIP_LONG" not in os.environ, reason="takes minutes: set FIRSTCRANK_CHIP_LONG=1"),
]


def files() -> dict[str, bytes]:
    """The firmware as installed; only the two seconds at power-up, in which MicroPython's tools can get in, are shortened."""
    made = flash_image.firmware_files()
    assert b"ESCAPE_MS = 2000" in made["/main.py"]
    made["/main.py"] = made["/main.py"].replace(b"ESCAPE_MS = 2000", b"ESCAPE_MS = 20")
    return made


def firstcrank(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "firstcrank.cli.main", *args],
        capture_output=True,
        text=True,
        env={**os.environ, "FIRSTCRANK_TIMEOUT_SCALE": "100"},
        timeout=3000,
    )


@pytest.mark.parametrize(
    ("scenario", "code", "verdict", "cranked"),
    [
        ("healthy", 0, "PASS", "--key-start"),
        ("dead_in_start", 1, "FAIL", "--key-start"),
        ("healthy", 3, "NO VERDICT", "--remote-start"),
    ],
)
def test_from_the_chips_pins_to_the_verdict(tmp_path: Path, scenario: str, code: int, verdict: str, cranked: str) -> None:
    file = tmp_path / "start.fcr"
    with emulated_chip(tmp_path, scenario, files()) as port:
        done = firstcrank("record", "--port", port, "--out", str(file), "--yes", cranked, "--module-plugged", "--longest", "8")
    assert done.returncode == code, done.stdout + done.stderr
    judged = json.loads(firstcrank("judge", str(file), "--json").stdout)
    assert judged["verdict"] == verdict
    assert judged["cranks"][0]["end_s"] - judged["cranks"][0]["start_s"] == pytest.approx(2.2, abs=0.1)
