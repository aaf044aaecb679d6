"""A board that works alone, in a real MicroPython: told once, it watches, judges, shows, keeps; the host fetches and judges again."""

from __future__ import annotations

import json
import time
from itertools import pairwise
from pathlib import Path

import pytest

from firstcrank.tracefiles.native import read_native
from firstcrank_sim.board.firmware_program import load

from .test_end_to_end_unix import SPI_LEADS, firstcrank
from .unix_board import unix_board

PATTERNS = load("lamp").PATTERNS
MOST_S = 90.0


def flashes(folder: Path) -> list[tuple[int, int]]:
    """(time in ms, on or off) of every change of the LED; what was repeated is left out."""
    file = folder / "lamp.txt"
    lines = [line.split() for line in file.read_text().splitlines()] if file.exists() else []
    entries = [(int(at), int(on)) for at, on in (line for line in lines if len(line) == 2)]
    return [b for a, b in pairwise([(0, -1), *entries]) if a[1] != b[1]]


def shows(folder: Path, name: str) -> bool:
    """Whether the last flashes are this pattern, twice over, within a pass of the board's loop."""
    times = [b[0] - a[0] for a, b in pairwise(flashes(folder))]
    wanted = [ms for ms in PATTERNS[name] if ms] * 2
    return any(
        all(abs(had - want) < 60 for had, want in zip(times[at : at + len(wanted)], wanted, strict=True))
        for at in range(max(len(times) - 4 * len(wanted), 0), len(times) - len(wanted) + 1)
    )


def wait_for(folder: Path, name: str) -> None:
    """Until the LED has shown the pattern."""
    until = time.monotonic() + MOST_S
    while not shows(folder, name):
        assert time.monotonic() < until, flashes(folder)[-20:]
        time.sleep(0.1)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("scenario", "code", "verdict"), [("healthy", 0, "PASS"), ("dead_in_start", 1, "FAIL"), ("glitch", 1, "FAIL")]
)
def test_told_once_it_records_judges_and_keeps(tmp_path: Path, scenario: str, code: int, verdict: str) -> None:
    flash, home = tmp_path / "flash", tmp_path / "home"
    flash.mkdir()
    with unix_board(scenario, flash) as port:
        done = firstcrank("board", "alone", "--port", port)
        assert done.returncode == 0, done.stderr
        assert "Neutral or park" in done.stdout
        wait_for(flash, verdict)
        fetched = firstcrank("board", "fetch", "--port", port, "--out", str(home), "--yes", "--key-start", "--module-plugged")
    assert fetched.returncode == code, fetched.stdout + fetched.stderr
    assert f"Key feed: {verdict}" in fetched.stdout
    assert "The board's own verdict was the same." in fetched.stdout
    first = min(home.glob("*.fcr"))
    judged = json.loads(firstcrank("judge", str(first), "--json").stdout)
    assert judged["verdict"] == verdict
    if scenario == "glitch":
        (dropout,) = [d for d in judged["dropouts"] if d["counts"]]
        assert dropout["duration_s"] == pytest.approx(0.004, abs=0.0008)
        assert dropout["phase"] == "crank"


@pytest.mark.slow
def test_it_goes_on_after_a_power_cut_and_keeps_what_it_had(tmp_path: Path) -> None:
    flash, home = tmp_path / "flash", tmp_path / "home"
    flash.mkdir()
    with unix_board("healthy", flash) as port:
        assert firstcrank("board", "alone", "--port", port).returncode == 0
        wait_for(flash, "PASS")
    kept = {path.name: path.read_bytes() for path in (flash / "captures").glob("*.fcr")}
    assert kept
    (flash / "captures" / "0099.new").write_bytes(b"half written")
    (flash / "lamp.txt").unlink()
    with unix_board("dead_in_start", flash) as port:  # powered up again, no host: it begins by itself
        wait_for(flash, "FAIL")
        fetched = firstcrank("board", "fetch", "--port", port, "--out", str(home), "--yes")
        assert fetched.returncode == 1
        assert firstcrank("board", "fetch", "--port", port, "--out", str(home), "--yes").stdout == "Nothing new on the board.\n"
        assert firstcrank("board", "alone", "--off", "--port", port).returncode == 0
    assert not (flash / "captures" / "0099.new").exists()
    after = {path.name: path.read_bytes() for path in (flash / "captures").glob("*.got")}
    for name, content in kept.items():
        assert after[name.replace(".fcr", ".got")] == content
    assert len(list(home.glob("*.fcr"))) == len(after) >= 2


@pytest.mark.slow
def test_alone_on_the_external_converter(tmp_path: Path) -> None:
    flash, home = tmp_path / "flash", tmp_path / "home"
    flash.mkdir()
    with unix_board("dead_in_start+spi", flash) as port:
        done = firstcrank("board", "alone", "--port", port, *SPI_LEADS)
        assert done.returncode == 0, done.stderr
        wait_for(flash, "FAIL")
        fetched = firstcrank("board", "fetch", "--port", port, "--out", str(home), "--yes")
    assert fetched.returncode == 1, fetched.stdout + fetched.stderr
    first = min(home.glob("*.fcr"))
    assert read_native(first).meta["acquisition"] == "spi_mcp3208"
