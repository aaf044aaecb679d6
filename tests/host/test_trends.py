"""Trends: by vehicle, board, technician and period; legible with 50 boards and 50,000 starts."""

from __future__ import annotations

import json
import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert

from firstcrank.errors import UsageError
from firstcrank.jobs import records
from firstcrank.jobs.schema import STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.jobs.trends import Choice, trends
from firstcrank.report.plots import as_png
from firstcrank.report.trend_plots import MOST_BOARDS, as_lines, trend_figure

COUNT, BOARDS = 50_000, 50


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """50,000 starts of 50 boards over 500 days from 2025-01-01; board n drifts by n hundredths of a per cent; every tenth fails."""
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
    drops = [p.feed_drop_v for p in whole.periods]
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
    drift = figure.axes[4]
    assert len(drift.get_legend().get_texts()) == MOST_BOARDS
    texts = [t.get_text() for axes in figure.axes for t in axes.texts]
    assert texts == ["no values yet"], "crank speed"
    assert json.dumps(lines)
