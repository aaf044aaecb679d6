"""The shipped firmware in a real MicroPython and the shipped host tool, joined by a pseudo-terminal, through to a verdict."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from .unix_board import unix_board


def firstcrank(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "firstcrank.cli.main", *args], capture_output=True, text=True, timeout=120, check=False
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("scenario", "code", "verdict"),
    [("healthy", 0, "PASS"), ("dead_in_start", 1, "FAIL"), ("glitch", 1, "FAIL"), ("no_crank", 3, "NO VERDICT")],
)
def test_from_the_pins_to_the_verdict(tmp_path: Path, scenario: str, code: int, verdict: str) -> None:
    file = tmp_path / "start.fcr"
    with unix_board(scenario) as port:
        done = firstcrank(
            "record", "--port", port, "--out", str(file), "--yes", "--key-start", "--module-plugged", "--longest", "9"
        )
    assert done.returncode == code, done.stdout + done.stderr
    assert f"Key feed: {verdict}" in done.stdout
    again = firstcrank("judge", str(file), "--json")
    assert again.returncode == code
    judged = json.loads(again.stdout)
    assert judged["verdict"] == verdict
    if scenario == "glitch":
        (dropout,) = [d for d in judged["dropouts"] if d["counts"]]
        assert dropout["phase"] == "crank"
        assert dropout["duration_s"] == pytest.approx(0.004, abs=0.0008)
        assert dropout["start_s"] == pytest.approx(3.0, abs=0.01)
