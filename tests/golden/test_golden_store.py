"""A record store of an earlier firstcrank opens, lists, reports and takes new starts; its backup is restored whole."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from firstcrank.cli.main import main
from firstcrank.jobs import records
from firstcrank.jobs.backup_file import check_backup
from firstcrank.jobs.filing import attach
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.restore import restore
from firstcrank.jobs.schema import JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.report.gather import from_store
from firstcrank.report.html import render

from .changed import VERDICTS

STORE = Path(__file__).parent / "data" / "store"
RECORDINGS = Path(__file__).parent / "data" / "recordings"
FILED = [("feed_resistance.fcr", "FAIL", "feed_resistance"), ("own_limits.fcr", "PASS", "feed_resistance")]
NOTE = "moved the feed to terminal 15 – Klemme 15"
PHOTO_SHA256 = "ade41e1e4c5d51e2c316e90f5298166865fb1e63611a5bd7a77ddc3bec2887bd"


@pytest.fixture(params=["opened", "restored"])
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Any:
    """The store: a copy of the file as it was, or made anew from the backup. The golden files are never opened in place."""
    if request.param == "opened":
        shutil.copytree(STORE, tmp_path / "store")
    (tmp_path / "store").mkdir(exist_ok=True)
    with open_store(str(tmp_path / "store" / "shop.sqlite")) as store:
        if request.param == "restored":
            about = restore(store, STORE / "shop-backup.zip")
            assert about.rows == {"jobs": 2, "starts": 3, "notes": 1, "measurements": 1, "photos": 1}
        yield store


def test_everything_of_it_is_there(old: Store) -> None:
    lines = list_jobs(old, Wanted(archived=True))
    assert {(line.job["number"], line.start_count, line.last_verdict) for line in lines} == {
        ("1207", 2, "PASS"),
        ("1300/b", 1, "PASS"),
    }
    assert [line.job["number"] for line in list_jobs(old)] == ["1207"]
    assert [line.job["number"] for line in list_jobs(old, Wanted("terminal 15 hale"))] == ["1207"]
    whole = records.job_detail(old, "1207")
    assert (whole.job["vehicle"], whole.job["technician"]) == ("Marigold, farm pickup", "R. Hale")
    assert whole.job["odometer"] == "81200 mi"
    assert [(s["file_name"], s["verdict"], s["cause"]) for s in whole.starts] == FILED
    assert [(n["who"], n["text"]) for n in whole.notes] == [("R. Hale", NOTE)]
    (measured,) = whole.measurements
    assert (measured["what"], measured["value"], measured["unit"]) == ("ground strap drop", 0.12, "V")
    (photo,) = whole.photos
    assert (photo["name"], photo["caption"], photo["content_hash"]) == ("plug.png", "module plug, pin 4", PHOTO_SHA256)
    assert old.contents.get(PHOTO_SHA256).startswith(b"\x89PNG")


def test_its_rows_have_the_same_names_wherever_they_are_opened(tmp_path: Path) -> None:
    """Two copies of one store, and its backup, name each row alike: what merges stores can tell."""
    shutil.copytree(STORE, tmp_path / "copy")
    shutil.copytree(STORE, tmp_path / "other")
    with open_store(str(tmp_path / "new.sqlite")) as made:
        restore(made, STORE / "shop-backup.zip")
    places = (tmp_path / "copy" / "shop.sqlite", tmp_path / "other" / "shop.sqlite", tmp_path / "new.sqlite")
    kept = []
    for place in places:
        with open_store(str(place)) as store, store.engine.connect() as connection:
            rows = {
                (table.name, row["id"]): dict(row)
                for table in (JOBS, STARTS, NOTES, MEASUREMENTS, PHOTOS)
                for row in connection.execute(select(table)).mappings()
            }
        kept.append(rows)
    assert kept[0] == kept[1] == kept[2]
    assert len({row["uuid"] for row in kept[0].values()}) == len(kept[0]) == 8
    assert all(row["when_utc"] for (table, _), row in kept[0].items() if table == "starts")


def test_its_jobs_are_found_by_what_was_filed(old: Store) -> None:
    searches = ("TERMINAL", "klemme", "own_limits", "plug.png", "strap", "hale", "1300/B", "81200")
    assert {word: len(list_jobs(old, Wanted(word, archived=True))) for word in searches} == dict.fromkeys(searches, 1)


def test_its_recordings_are_the_bytes_that_were_filed(old: Store) -> None:
    for number in ("1207", "1300/b"):
        for start in records.job_detail(old, number).starts:
            assert old.contents.state(start["content_hash"]) == "whole"
            assert old.contents.get(start["content_hash"]) == (RECORDINGS / start["file_name"]).read_bytes()


@pytest.mark.parametrize("number", ["1", "2", "3"])
def test_a_start_is_reported_with_the_verdict_and_limits_it_was_filed_with(old: Store, number: str) -> None:
    start, _ = records.find_start(old, number)
    inputs = from_store(old, number)
    filed = json.loads(start["judgement_json"])
    assert inputs.judgement.verdict == start["verdict"] == filed["verdict"]
    assert list(inputs.judgement.reasons) == filed["reasons"]
    assert inputs.limits["feed_drop_fail_v"] == {"1": 1.0, "2": 2.5, "3": 2.0}[number]
    assert len(inputs.recording.trace) > 500
    page = render(inputs)
    assert start["verdict"] in page
    assert start["content_hash"][:12] in page


def test_it_takes_a_new_start_and_a_note(old: Store) -> None:
    made = attach(old, "1207", RECORDINGS / "key_never_off.fcr")
    records.add_note(old, "1207", "cranked again", "R. Hale")
    whole = records.job_detail(old, "1207")
    change = VERDICTS.get("key_never_off.fcr")
    assert [s["id"] for s in whole.starts] == [1, 2, made]
    assert whole.starts[-1]["verdict"] == (change.verdict if change else "NO VERDICT")
    assert whole.notes[-1]["text"] == "cranked again"


def test_the_backup_is_whole() -> None:
    about = check_backup(STORE / "shop-backup.zip")
    assert (about.format, about.contents) == (1, 4)


def test_the_commands_list_and_show_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(STORE, tmp_path / "store")
    place = str(tmp_path / "store" / "shop.sqlite")
    for arguments, expected in ((["list", "--all"], "1300/b"), (["show", "1207"], NOTE), (["show", "1207"], "plug.png")):
        with pytest.raises(SystemExit) as left:
            main(["jobs", *arguments, "--store", place])
        assert left.value.code == 0
        out = capsys.readouterr().out
        assert expected in out
        assert "ALTERED" not in out
        assert "MISSING" not in out
