"""The shipped firmware in a real MicroPython and the shipped host tool, joined by a pseudo-terminal, through to a verdict."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from firstcrank.tracefiles.native import read_native

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


SPI_LEADS = ("--lead", "battery=0", "--lead", "key_switch=1", "--lead", "starter_coil=2", "--acquisition", "spi_mcp3208")


@pytest.mark.slow
@pytest.mark.parametrize(("scenario", "code", "verdict"), [("healthy", 0, "PASS"), ("glitch", 1, "FAIL")])
def test_through_the_external_converter(tmp_path: Path, scenario: str, code: int, verdict: str) -> None:
    """Microchip DS21298 figure 6-1 is what fake_spi.py answers by."""
    file = tmp_path / "start.fcr"
    with unix_board(scenario + "+spi") as port:
        refused = firstcrank(
            "record", "--port", port, "--yes", "--acquisition", "spi_mcp3208", "--out", str(tmp_path / "no.fcr")
        )
        done = firstcrank(
            "record",
            "--port",
            port,
            "--out",
            str(file),
            "--yes",
            "--key-start",
            "--module-plugged",
            "--longest",
            "9",
            *SPI_LEADS,
        )
    assert refused.returncode == 4
    assert "inputs 0 to 7" in refused.stderr
    assert done.returncode == code, done.stdout + done.stderr
    assert f"Key feed: {verdict}" in done.stdout
    recording = read_native(file)
    assert recording.meta["acquisition"] == "spi_mcp3208"
    assert 70e-6 <= float(recording.trace.gap_s[1:].min()) < 200e-6  # three leads of 24 us each: what it cannot see is declared


@pytest.mark.slow
@pytest.mark.parametrize("scenario", ["healthy", "glitch"])
def test_a_converter_too_slow_for_the_shortest_dropout_is_no_pass(tmp_path: Path, scenario: str) -> None:
    """A sample every 1.2 ms could miss a dropout of 1 ms. One of 4 ms is seen all the same, and is a FAIL."""
    file = tmp_path / "start.fcr"
    with unix_board(scenario + "+slow_spi") as port:
        asked = ("--out", str(file), "--yes", "--key-start", "--module-plugged", "--longest", "9")
        done = firstcrank("record", "--port", port, *asked, *SPI_LEADS)
    assert float(read_native(file).trace.gap_s[1:].min()) >= 1.2e-3
    if scenario == "glitch":
        assert done.returncode == 1, done.stdout + done.stderr
        return
    assert done.returncode == 3, done.stdout + done.stderr
    assert "Key feed: NO VERDICT" in done.stdout
    assert "samples are too far apart: one every 1.2 ms" in " ".join(done.stdout.split())


@pytest.mark.slow
def test_without_a_converter_on_the_wires_nothing_is_recorded(tmp_path: Path) -> None:
    with unix_board("healthy+silent_spi") as port:
        done = firstcrank("record", "--port", port, "--yes", "--out", str(tmp_path / "no.fcr"), *SPI_LEADS)
    assert done.returncode == 4
    assert "no external converter answers" in done.stderr
    assert not (tmp_path / "no.fcr").exists()


@pytest.mark.slow
def test_a_board_without_spi_says_what_it_has() -> None:
    with unix_board("healthy") as port:
        done = firstcrank("record", "--port", port, "--yes", *SPI_LEADS)
    assert done.returncode == 4
    assert "no acquisition called spi_mcp3208; it has portable" in done.stderr


@pytest.mark.slow
def test_the_board_check_looks_at_the_external_inputs() -> None:
    """The key is off in the played start: the battery reads, the others do not."""
    with unix_board("healthy+spi") as port:
        done = firstcrank("board", "check", "--json", "--port", port, *SPI_LEADS)
    lines = {line["what"]: line for line in json.loads(done.stdout)["checks"]}
    assert lines["input battery (CH0)"]["seen"].startswith(
        "13.3"
    )  # 12.6 V by 22 over 122, read as 6.8 over 39.8; nothing loads it
    assert lines["input key switch (CH1)"]["seen"].startswith("0.0")
    assert "spi_mcp3208" in lines["sampling"]["seen"]
