"""Settings, config, doctor, did you mean, completion, help: the first hour."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from firstcrank.cli.main import COMMANDS, main
from firstcrank.errors import UsageError
from firstcrank.settings import KEYS, default_map, last_recording, read_settings


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "settings.toml"
    monkeypatch.setenv("FIRSTCRANK_SETTINGS", str(path))
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    return path


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        main(list(args))
    output = capsys.readouterr()
    return int(str(left.value.code)), output.out + output.err


def test_every_value_is_shown_with_where_it_comes_from(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings.write_text('cylinders = 6\nrecordings = "kept"\n')
    code, output = run(capsys, "config")
    assert code == 0
    for key in KEYS:
        (line,) = [line for line in output.splitlines() if line.startswith(f"{key} ")]
        assert (str(settings) in line) == (key in ("cylinders", "recordings"))
        assert ("default" in line) == (key not in ("cylinders", "recordings"))


def test_a_written_file_is_read_again_and_never_written_over(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "config", "--write")[0] == 0
    text = settings.read_text()
    settings.write_text(
        "\n".join(line.lstrip("# ") for line in text.splitlines() if not line.startswith(("# port", "# limits")))
    )
    assert read_settings().get("beep") is True
    assert run(capsys, "config", "--write")[0] == 2


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("cylinders = 99", "1 to 16"),
        ("system = 6", "12 or 24"),
        ('beep = "yes"', "true or false"),
        ("port = 3", "text in quotes"),
        ("prot = 'x'", "no setting"),
        ("port = ", "settings file"),
    ],
)
def test_what_can_not_be_used_is_told(settings: Path, text: str, expected: str) -> None:
    settings.write_text(text)
    with pytest.raises(UsageError, match=expected):
        read_settings()


def test_settings_are_defaults_and_typed_options_win(
    settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.write_text(f'port = "sim:no_such_start"\nrecordings = "{tmp_path / "kept"}"\nbeep = false\n')
    assert default_map(read_settings())["record"]["port"] == "sim:no_such_start"
    code, output = run(capsys, "record", "--yes")
    assert code == 2
    assert "no_such_start" in output
    code, output = run(capsys, "record", "--yes", "--port", "sim:healthy", "--key-start", "--module-plugged")
    assert code == 0
    (kept,) = (tmp_path / "kept").glob("*.fcr")
    assert str(kept) in output.replace("\n", "")
    (tmp_path / "kept" / ".new-0123456789ab.fcr").write_bytes(b"")  # cut off while it was written
    assert last_recording(tmp_path / "kept") == kept
    assert run(capsys, "judge", "last", "--plain")[0] == 0


def test_a_wrong_name_is_answered_with_the_nearest(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "Did you mean record?" in run(capsys, "recrod")[1]
    assert "Did you mean doctor?" in run(capsys, "docter")[1]
    assert "Did you mean" in run(capsys, "record", "--prot", "x")[1]
    assert run(capsys, "xyzzy")[0] == 2


def test_doctor_ends_with_what_to_type(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, output = run(capsys, "doctor", "--port", "sim:healthy")
    assert output.splitlines()[-1].startswith("Next: ")
    assert (code == 0) == ("TO DO" not in output)
    code, output = run(capsys, "doctor", "--port", "sim:healthy", "--json")
    found = json.loads(output)
    assert {"Python", "disk", "record store", "board", "calibration", "settings"} <= {one["what"] for one in found["looked"]}
    assert found["next"]
    code, output = run(capsys, "doctor", "--port", "/dev/no_such_port")
    assert code == 1
    assert "TO DO board" in output


@pytest.mark.parametrize(("shell", "mark"), [("bash", "complete"), ("zsh", "compdef"), ("fish", "complete")])
def test_completion(settings: Path, capsys: pytest.CaptureFixture[str], shell: str, mark: str) -> None:
    code, output = run(capsys, "completion", shell)
    assert code == 0
    assert mark in output
    assert "firstcrank" in output


@pytest.mark.parametrize("topic", ["no-fire", "safety", "cautions", "feed_ballast", ""])
def test_help_topics(settings: Path, capsys: pytest.CaptureFixture[str], topic: str) -> None:
    code, output = run(capsys, "help", topic)
    assert code == 0
    assert len(output.splitlines()) >= 3
    assert run(capsys, "help", "weather")[0] == 2


NEW = ("start", "switch-test", "record", "live", "watch", "checklist", "judge", "config", "doctor", "help", "completion")


@pytest.mark.parametrize("name", NEW)
def test_help_has_examples(settings: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    assert name in COMMANDS
    assert f"firstcrank {name} " in run(capsys, name, "--help")[1] + " "
