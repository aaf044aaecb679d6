"""Repeat after repair, and the simulator's honesty in the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstcrank.cli.main import main


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    monkeypatch.setenv("FIRSTCRANK_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        main(list(args))
    output = capsys.readouterr()
    return int(str(left.value.code)), output.out + output.err


def test_before_and_after_are_compared_by_themselves_and_simulated_stands_everywhere(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(capsys, "jobs", "new", "1207")[0] == 0
    code, output = run(capsys, "repeat", "1207", "--yes")
    assert code == 2
    assert "no start to repeat" in output
    code, output = run(capsys, "record", "--job", "1207", "--port", "sim:marigold_trap", "--yes", "--out", "before.fcr")
    assert code == 1
    assert "SIMULATED, no vehicle's" in output
    code, output = run(capsys, "repeat", "1207", "--port", "sim:marigold_repaired", "--yes", "--out", "after.fcr")
    assert code == 0, output[-1500:]
    assert "Start 1 beside start 2" in output
    assert "FAIL in 1, PASS in 2" in output
    assert "simulated: PASS" in run(capsys, "jobs", "list")[1]
    assert run(capsys, "jobs", "show", "1207")[1].count("SIMULATED") == 2
    assert "No job found" in run(capsys, "jobs", "list", "--verdict", "pass")[1]


def test_a_job_that_is_not_there_is_told_before_anybody_touches_a_key(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, output = run(capsys, "record", "--job", "99", "--port", "sim:healthy", "--yes")
    assert code == 2
    assert "Before you touch the key" not in output
    assert not list(folder.glob("*.fcr"))


@pytest.mark.parametrize(("name", "code"), [("module_supply_drop", 1), ("remote_switch", 3), ("module_unplugged", 3)])
def test_a_simulated_board_brings_its_scenarios_leads_and_answers(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str, code: int
) -> None:
    assert run(capsys, "record", "--port", f"sim:{name}", "--yes")[0] == code
