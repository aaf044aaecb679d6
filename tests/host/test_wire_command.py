"""firstcrank wire as typed: lengths in metres and feet, both counts told, JSON, the marks with their sources."""

from __future__ import annotations

import json

import pytest

from firstcrank.cli.main import main


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, standard output, standard error."""
    with pytest.raises(SystemExit) as left:
        main(["wire", *arguments])
    captured = capsys.readouterr()
    return int(left.value.code or 0), captured.out, captured.err


def test_short_and_strong_is_decided_by_heat(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--length", "0.3", "--amps", "20")
    assert code == 0
    assert "AWG 10" in out
    assert "by drop alone AWG 20, by heat alone AWG 10" in out
    assert "fuse 25 A" in out


@pytest.mark.parametrize("written", ["13ft", "13 ft", "13'", "3.9624", "3,9624m"])
def test_feet_and_metres_are_the_same_run(capsys: pytest.CaptureFixture[str], written: str) -> None:
    _, out, _ = run(capsys, "--length", written, "--amps", "5", "--json")
    answer = json.loads(out)
    assert answer["run"]["length_m"] == pytest.approx(3.9624)
    assert answer["awg"]["name"] == "AWG 14"


@pytest.mark.parametrize("written", ["", "13 miles", "0", "-4", "300"])
def test_nonsense_lengths_are_refused(capsys: pytest.CaptureFixture[str], written: str) -> None:
    code, _, err = run(capsys, f"--length={written}", "--amps", "5")
    assert code == 2
    assert err


def test_a_wire_given_is_judged_on_both_counts_and_named_as_the_trade_does(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "--length", "2", "--amps", "30", "--awg", "00")
    assert "AWG 2/0" in out
    _, out, _ = run(capsys, "--length", "0.3", "--amps", "20", "--awg", "20")
    assert "TOO THIN" in out
    assert "largest fuse 7.5 A" in out


def test_the_way_back_counts(capsys: pytest.CaptureFixture[str]) -> None:
    drops = []
    for back in ("body", "wire"):
        _, out, _ = run(capsys, "--length", "4", "--amps", "2", "--awg", "16", "--return", back, "--json")
        drops.append(json.loads(out)["given"]["drop_v"])
    assert drops[1] == pytest.approx(2 * drops[0])


def test_the_marks_come_with_their_sources(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "--terminals", "--json")
    tables = json.loads(out)
    assert all(row["source"] for table in ("din", "american", "relay") for row in tables[table])
    _, out, _ = run(capsys, "--terminals")
    assert "15e" in out
    assert "IGN2" in out
    assert "87a" in out
