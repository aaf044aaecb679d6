"""A recording made elsewhere is filed with all that judge takes, reads the same from the record, and teaches the next start."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstcrank.cli.main import main
from firstcrank.jobs import records
from firstcrank.jobs.recordings import recording_of
from firstcrank.jobs.store import open_store
from firstcrank.jobs.vehicle import known_of_vehicle

from .sim_recording import recorded


@pytest.fixture
def csv(tmp_path: Path) -> Path:
    """A 24 V start by a logger with names of its own for the columns; made up by hand."""
    rows = ["seconds;U batt;U key;U coil"]
    for n in range(2400):
        t = n / 200
        cranking = 4.0 <= t < 8.0
        battery = 19.2 if cranking else 25.6
        key = battery - 0.2 if t >= 2.0 else 0.0
        coil = battery - 0.4 if cranking else 0.0
        rows.append(f"{t:.3f};{battery:.3f};{key:.3f};{coil:.3f}")
    path = tmp_path / "logger.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


MAP = ("--map", "t_s=seconds", "--map", "battery=U batt", "--map", "key_switch=U key", "--map", "starter_coil=U coil")
TYPED = (*MAP, "--uncertainty", "0.5%+20mV", "--system", "24", "--cylinders", "6", "--feed", "signal", "--known-load", "50")


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


@pytest.fixture
def place(tmp_path: Path) -> str:
    place = str(tmp_path / "s.sqlite")
    assert run("jobs", "new", "1207", "--vin", "1M8GDM9AXKP042788", "--plate", "FC 4711", "--store", place) == 0
    return place


def test_attach_takes_all_that_judge_takes_and_keeps_it(
    csv: Path, place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = ("--key-start", "--module-plugged", "--no-charger", "--not-running", "--temperature", "3")
    code = run("judge", str(csv), *TYPED, *answers)
    assert code in (0, 1, 3)
    verdict = {0: "PASS", 1: "FAIL", 3: "NO VERDICT"}[code]
    capsys.readouterr()
    moment = "2026-02-03T04:05:06+02:00"
    assert run("jobs", "attach", "1207", str(csv), *TYPED, *answers, "--recorded", moment, "--store", place) == 0
    assert f"filed as start 1: {verdict}" in capsys.readouterr().out
    with open_store(place) as store:
        (row,) = records.job_detail(store, "1207").starts
        assert row["when_utc"] == row["recorded_utc"] == "2026-02-03T02:05:06+00:00"
        again = recording_of(store, row)
    assert (again.context.cylinders, again.context.cranked_with_key, again.context.temperature_c) == (6, True, 3.0)
    assert again.meta["recorded_utc"] == "2026-02-03T02:05:06+00:00"
    assert len(again.trace) == 2400
    assert run("report", "1", "--html", str(tmp_path / "x.html"), "--store", place) == 0
    assert "24 V" in (tmp_path / "x.html").read_text("utf-8")
    assert run("export", "1", str(tmp_path / "x.parquet"), "--store", place) == 0


def test_a_recording_that_is_there_already_is_told(csv: Path, place: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("jobs", "new", "1300", "--store", place) == 0
    for number in ("1207", "1207", "1300"):
        assert run("jobs", "attach", number, str(csv), *TYPED, "--store", place) == 0
    output = capsys.readouterr()
    assert "is start 1 of this job already: not filed again" in output.out
    assert "is start 1 of job 1207 as well" in output.err
    assert "does not say when it was recorded" in output.err
    assert run("jobs", "attach", "1207", str(csv), *TYPED, "--again", "--store", place) == 0
    with open_store(place) as store:
        assert [len(records.job_detail(store, number).starts) for number in ("1207", "1300")] == [2, 1]


def test_what_the_record_knows_of_the_vehicle_is_used(
    csv: Path, place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("jobs", "attach", "1207", str(csv), *TYPED, "--store", place) == 0
    assert run("jobs", "new", "1300", "--vin", "1M8GDM9AXKP042788", "--store", place) == 0
    assert run("jobs", "new", "1400", "--vin", "1M8GDM9AXKP042789", "--store", place) == 0
    with open_store(place) as store:
        known = known_of_vehicle(store, "1300")
        assert (known.start, known.system_v, dict(known.answers)) == (
            1,
            24,
            {"cylinders": 6, "feed_kind": "signal"},  # not the load of 50 ohm: it was fitted for one measurement
        )
        assert known_of_vehicle(store, "1400").start is None
    other = tmp_path / "second.csv"
    other.write_text(csv.read_text("utf-8").replace("25.600", "25.500"), "utf-8")
    assert run("jobs", "attach", "1300", str(other), *MAP, "--store", place) == 0
    with open_store(place) as store:
        (row,) = records.job_detail(store, "1300").starts
        assert '"system_v": 24' in row["limits_json"]
        assert recording_of(store, row).context.cylinders == 6
    capsys.readouterr()
    path = tmp_path / "x.fcr"
    run("record", "--port", "sim:healthy", "--yes", "--out", str(path), "--job", "1300", "--cylinders", "4", "--store", place)
    output = capsys.readouterr().out
    assert "As for start 2 of this vehicle: " in output
    assert "24 V" in output
    assert "cylinders" not in output.partition("As for")[2].partition("\n")[0], "typed options win"


def test_a_simulated_start_teaches_nothing(place: str, tmp_path: Path) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("marigold_trap"))
    assert run("jobs", "attach", "1207", str(path), "--cylinders", "8", "--store", place) == 0
    with open_store(place) as store:
        assert known_of_vehicle(store, "1207").start is None
        (row,) = records.job_detail(store, "1207").starts
        assert recording_of(store, row).context.cylinders == 8


@pytest.mark.parametrize(
    "wrong",
    [
        ("--recorded", "yesterday"),
        ("--map", "battery"),
        ("--uncertainty", "much"),
        ("--limits", "none.toml"),
        ("--map-name", "none"),
    ],
)
def test_what_cannot_be_used_is_told_before_anything_is_filed(wrong: tuple[str, str], csv: Path, place: str) -> None:
    assert run("jobs", "attach", "1207", str(csv), *wrong, "--store", place) == 2
    with open_store(place) as store:
        assert records.job_detail(store, "1207").starts == ()
