"""`jobs list` on screens of every width: no word of a job is broken where the screen has room for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstcrank.cli.main import main

JOB = {"customer": "Hollow Farm Contractors", "vehicle": "Marigold, forwarder with crane", "technician": "R. Hale"}


@pytest.mark.parametrize("columns", [60, 72, 80, 120])
def test_no_word_is_broken(
    columns: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    monkeypatch.setenv("FIRSTCRANK_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("COLUMNS", str(columns))
    for args in (
        ["jobs", "new", "1207", *(part for name, text in JOB.items() for part in (f"--{name}", text))],
        ["jobs", "list"],
    ):
        with pytest.raises(SystemExit) as ended:
            main(args)
        assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines()[1:])) <= columns
    printed = set(shown.replace(",", " ").split())
    assert {word for text in JOB.values() for word in text.replace(",", " ").split()} <= printed
    assert {"1207", "customer", "vehicle", "technician", "made", "starts", "last", "verdict"} <= printed
