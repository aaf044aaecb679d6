"""Column maps under a name: kept, used, and told apart when something is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstcrank.cli.main import main
from firstcrank.errors import UsageError
from firstcrank.tracefiles.saved_maps import ENVIRONMENT, SavedMap, save_map, saved_map, saved_maps

from .test_tracefiles_csv import rows, written


@pytest.fixture(autouse=True)
def maps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "config" / "maps.toml"
    monkeypatch.setenv(ENVIRONMENT, str(path))
    return path


def judged(*args: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(["judge", *args])
    return int(left.value.code or 0)


def test_a_map_is_saved_once_and_used_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    t, *volts = rows(16)
    path = str(written(tmp_path / "scope.csv", "clock,CH 1,CH 2,CH 3", (t * 1000, *volts)))
    options = ["--map", "t_ms=clock", "--map", "battery=CH 1", "--map", "key_switch=CH 2", "--map", "starter_coil=CH 3"]
    assert judged(path, *options, "--uncertainty", "1%+50mV", "--save-map", "bench-scope") == 0
    capsys.readouterr()
    assert judged(path, "--map-name", "bench-scope") == 0
    assert "1.00% plus 50 mV" in capsys.readouterr().out
    assert judged(path, "--map-name", "bench-scope", "--map", "battery=CH 9") == 4
    assert "no column 'CH 9'" in capsys.readouterr().err
    assert judged(path, "--map-name", "other") == 2
    assert "there are: bench-scope" in capsys.readouterr().err


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(column=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20))
def test_any_column_name_survives_the_file(column: str) -> None:
    save_map("x", SavedMap({"battery": column, "key_switch": "plain"}))
    assert saved_map("x").columns["battery"] == column


def test_saving_keeps_the_other_maps() -> None:
    save_map("a", SavedMap({"battery": "1"}))
    save_map("b", SavedMap({"battery": "2"}))
    save_map("a", SavedMap({"battery": "3"}))
    assert {name: saved.columns["battery"] for name, saved in saved_maps().items()} == {"a": "3", "b": "2"}


@pytest.mark.parametrize(
    "text", ["not toml", "[a]\nradio = 'CH1'\n", "[a]\nbattery = 5\n", "a = 1\n", "[a]\nbattery = 'x'\nuncertainty = 'much'\n"]
)
def test_a_file_edited_wrongly_is_wrong_usage(text: str, maps: Path) -> None:
    maps.parent.mkdir()
    maps.write_text(text)
    with pytest.raises(UsageError, match="maps file"):
        saved_map("a")


@pytest.mark.parametrize("name", ["", "a b", "../x", "ü"])
def test_names_are_plain(name: str) -> None:
    with pytest.raises(UsageError, match="letters, digits"):
        save_map(name, SavedMap({"battery": "1"}))


def test_there_must_be_something_to_save() -> None:
    with pytest.raises(UsageError, match="at least one --map"):
        save_map("a", SavedMap({}))
