"""Trends: by vehicle, board, technician and period; legible with 50 boards and 50,000 starts."""

from __future__ import annotations

import json
import shutil
import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert, select

from firstcrank.cli.main import main
from firstcrank.errors import UsageError
from firstcrank.jobs import records
from firstcrank.jobs.filing import attach
from firstcrank.jobs.kept_values import crank_v_kept, system_v_kept
from firstcrank.jobs.schema import STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.jobs.trends import Choice, trends
from firstcrank.report.plots import as_png
from firstcrank.report.trend_plots import MOST_BOARDS, as_lines, trend_figure

from .sim_recording import recorded

GOLDEN = Path(__file__).parents[1] / "golden" / "data" / "store"
COUNT, BOARDS = 50_000, 50


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """50,000 starts of 50 boards over 500 days from 2025-01-01; board n drifts by n hundredths of a per cent; every tenth fails.

    The pickup has 12 V and cranks at 10.0 to 10.5 V, the van 24 V and twice that; every fourth start has no crank voltage.
    """
    opened = open_store(str(tmp_path_factory.mktemp("trends") / "s.sqlite"), scratch=True)
    pickup = records.create_job(opened, "1", vehicle="green pickup", technician="R. Hale")
    van = records.create_job(opened, "2", vehicle="Hale's van", technician="Zoë")
    begin = datetime(2025, 1, 1, 12, tzinfo=UTC)
    rows = []
    for n in range(COUNT):
        when, board = (begin + timedelta(days=500 * n / COUNT)).isoformat(timespec="seconds"), n % BOARDS
        row = {"job_id": (pickup, van)[n % 2], "filed_utc": when, "when_utc": when, "content_hash": "0" * 64, "size_bytes": 1}
        row |= {"file_name": "x.fcr", "verdict": "FAIL" if n % 10 == 0 else "PASS", "limits_json": "{}", "judgement_json": "{}"}
        row |= {"board": f"board{board:02}", "battery_gain": 1.0 + 1e-4 * board * n / COUNT, "feed_drop_v": 0.2 + n / COUNT}
        row |= {"crank_v": None if n % 4 == 3 else (10.0 + 0.5 * n / COUNT) * (1 + n % 2), "system_v": 12 * (1 + n % 2)}
        rows.append(row | {"cause": "feed_dead_in_start" if n % 10 == 0 else ""})
    with opened.engine.begin() as connection:
        connection.execute(insert(STARTS), rows)
    return opened


def test_by_period_vehicle_board_and_technician(store: Store) -> None:
    whole = trends(store)
    assert sum(whole.verdicts.values()) == COUNT
    assert [p.name for p in whole.periods][:2] == ["2025-01", "2025-02"]
    assert len(whole.periods) == 17
    assert sum(p.starts for p in whole.periods) == COUNT
    assert sum(p.failed for p in whole.periods) == COUNT // 10
    drops = [p.feed_drop_v for p in whole.periods if p.feed_drop_v is not None]
    assert len(drops) == len(whole.periods)
    assert drops == sorted(drops)
    assert sum(trends(store, choice=Choice(find="pickup")).verdicts.values()) == COUNT // 2
    assert trends(store, choice=Choice(technician="zoe")).verdicts == {"PASS": COUNT // 2}
    assert sum(trends(store, choice=Choice(technician="hale")).verdicts.values()) == COUNT // 2, "not the van that is called so"
    assert list(trends(store, choice=Choice(board="board07")).drift) == ["board07"]
    assert {p.name for p in trends(store, choice=Choice(first_day="2025-03", last_day="2025-04")).periods} <= {
        "2025-02",
        "2025-03",
        "2025-04",
    }
    with pytest.raises(UsageError):
        trends(store, choice=Choice(first_day="tomorrow"))


def test_crank_voltage_over_time_each_system_by_itself(store: Store) -> None:
    found = trends(store)
    assert {system: len(values) for system, values in found.crank_v.items()} == {12: COUNT // 2, 24: COUNT // 4}
    assert found.system_v == 12
    assert 10.0 <= min(found.crank_v[12]) <= max(found.crank_v[12]) <= 10.5
    assert 20.0 <= min(found.crank_v[24]) <= max(found.crank_v[24]) <= 21.0
    middles = [p.crank_v for p in found.periods if p.crank_v is not None]
    assert len(middles) == len(found.periods)
    assert middles == sorted(middles), "they rise, month by month"
    assert middles[0] == pytest.approx(10.0, abs=0.02)
    lines = as_lines(found)
    assert any("crank voltage, 24 V system: 20.1 to 20.9 V" in line for line in lines), lines
    assert any(line.startswith("  2025-01:") and f"{middles[0]:.2f} V crank voltage" in line for line in lines), lines
    van = trends(store, choice=Choice(find="van"))
    assert (list(van.crank_v), van.system_v) == ([24], 24)


def test_the_crank_voltage_of_earlier_starts_is_what_was_kept_with_them(tmp_path: Path) -> None:
    """Of the golden store's starts, filed by 7bf83f1: the finding that stands in the judgement filed then, or nothing."""
    for path in GOLDEN.iterdir():
        (shutil.copytree if path.is_dir() else shutil.copy)(path, tmp_path / path.name)
    with open_store(str(tmp_path / "shop.sqlite")) as opened, opened.engine.connect() as connection:
        rows = connection.execute(select(STARTS.c.crank_v, STARTS.c.system_v, STARTS.c.judgement_json)).all()
    assert len(rows) == 3
    for crank_v, system_v, kept in rows:
        texts = [f["reason"] for f in json.loads(kept)["findings"] if f["check"] == "battery_crank"]
        assert texts == ([f"battery while cranking {crank_v:.2f} V"] if crank_v is not None else []), texts
        assert system_v in (12, 24)
    assert sorted(row[1] for row in rows) == [12, 12, 24]
    assert sum(row[0] is not None for row in rows) >= 1


@pytest.mark.parametrize("kept", ["", "{}", "[]", '{"findings": [{"check": "battery_crank", "measured": null, "unit": ""}]}'])
def test_a_crank_voltage_that_was_not_kept_is_not_invented(kept: str) -> None:
    assert crank_v_kept(kept) is None
    assert system_v_kept(kept) is None


def test_a_start_filed_now_has_its_crank_voltage(tmp_path: Path) -> None:
    file = tmp_path / "start.fcr"
    file.write_bytes(recorded("marigold_trap"))
    with open_store(str(tmp_path / "s.sqlite")) as opened:
        records.create_job(opened, "1")
        attach(opened, "1", file)
        (start,) = records.job_detail(opened, "1").starts
        assert start["crank_v"] == crank_v_kept(start["judgement_json"])
        assert start["crank_v"] == pytest.approx(11.67, abs=0.1), "the battery of that scenario"
        assert start["system_v"] == 12
        assert list(trends(opened, synthetic=True).crank_v) == [12]


def test_fifty_boards_stay_legible(store: Store, tmp_path: Path) -> None:
    found = trends(store)
    assert len(found.drift) == BOARDS
    assert [board for board, _ in found.changes()[:2]] == ["board49", "board48"]
    lines = as_lines(found)
    assert len(lines) < 40
    assert sum(line.startswith("  board ") for line in lines) == MOST_BOARDS
    assert f"  and {BOARDS - MOST_BOARDS} boards that changed less (--board shows one)" in lines
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = trend_figure(found)
        (tmp_path / "t.png").write_bytes(as_png(figure))
    drift = figure.axes[5]
    legend = drift.get_legend()
    assert legend is not None
    assert len(legend.get_texts()) == MOST_BOARDS
    texts = [t.get_text() for axes in figure.axes for t in axes.texts]
    assert texts == ["no values yet"], "crank speed"
    assert json.dumps(lines)


def test_an_empty_answer_says_that_simulated_starts_are_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = str(tmp_path / "shop.sqlite")
    for arguments in (("new", "1207"), ("trends",), ("trends", "--simulated")):
        with pytest.raises(SystemExit) as left:
            main(["jobs", *arguments, "--store", store])
        assert not left.value.code
        output = capsys.readouterr().out
        assert ("Simulated starts are left out: --simulated counts them." in output) == (arguments == ("trends",))
