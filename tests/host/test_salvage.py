"""Damage is found and told; what can be read of a damaged store is saved into a new one, and what is lost is named."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from sqlalchemy import text

from firstcrank.cli.main import main
from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs import records
from firstcrank.jobs.check import check
from firstcrank.jobs.contents import FolderContents
from firstcrank.jobs.filing import attach
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.packing import hash_of
from firstcrank.jobs.salvage import salvage
from firstcrank.jobs.store import Store, open_store

from .sim_recording import recorded


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


def filled(place: str, folder: Path, jobs: int = 40) -> Store:
    store = open_store(place)
    for n in range(jobs):
        records.create_job(store, f"J{n:03d}", vehicle=f"Häcksler {n}", customer="x" * 300)
        records.add_note(store, f"J{n:03d}", f"note {n} " + "y" * 200)
    for n, name in enumerate(("marigold_trap", "marigold_repaired")):
        path = folder / f"{name}.fcr"
        path.write_bytes(recorded(name))
        attach(store, f"J{n:03d}", path)
    records.add_photo(store, "J001", "plug.png", b"\x89PNG photo", "pin 4")
    return store


def test_a_whole_record_is_whole_and_salvages_whole(place: str, tmp_path: Path) -> None:
    with filled(place, tmp_path) as store:
        found = check(store)
        assert found.trouble == []
        assert (found.rows["jobs"], found.rows["starts"], found.contents) == (40, 2, 3)
        before = records.job_detail(store, "J000")
    with open_store(str(tmp_path / "new.sqlite")) as target:
        done = salvage(place, target)
        assert done.lost == []
        assert done.rows == found.rows
        assert (done.contents, done.lonely) == (3, 0)
        assert records.job_detail(target, "J000") == before
        assert check(target).trouble == []
        with pytest.raises(UsageError, match="new store"):
            salvage(place, target)


def test_damage_of_each_kind_is_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "s.sqlite")
    with filled(place, tmp_path) as store:
        assert isinstance(store.contents, FolderContents)
        store.contents.path(hash_of(b"\x89PNG photo")).unlink()
        path = store.contents.path(hash_of(recorded("marigold_trap")))
        path.write_bytes(path.read_bytes()[:-3])
        store.contents.put(b"belongs to nothing")
        with store.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
            connection.exec_driver_sql("UPDATE notes SET job_id = 99 WHERE id = 1")
            connection.exec_driver_sql("UPDATE jobs SET search_text = '' WHERE id = 3")
            connection.commit()
    Path(place).chmod(0o644)
    assert run("jobs", "check", "--store", place) == 4
    output = capsys.readouterr()
    for phrase in ("is missing", "is altered", "row 1 of notes belongs to a row of jobs", "job J002 is not found"):
        assert phrase in output.err
    for phrase in ("belong to no start", "any user of this computer"):
        assert phrase in output.out


@pytest.mark.parametrize(
    ("seed", "least"),
    [(100, 10), pytest.param(104, 10, marks=pytest.mark.slow), (0, 1)],
    ids=["rows", "other rows", "the list of tables"],
)
def test_a_torn_file_gives_what_can_be_read(seed: int, least: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "s.sqlite"
    filled(str(place), tmp_path).close()
    data = bytearray(place.read_bytes())
    chance = random.Random(seed)
    pages = len(data) // 4096
    for page in chance.sample(range(pages // 3, pages), 6):
        data[page * 4096 : (page + 1) * 4096] = chance.randbytes(4096)
    place.write_bytes(data)
    before = place.read_bytes()
    new = tmp_path / "new.sqlite"
    code = run("jobs", "salvage", str(new), "--store", str(place))
    output = capsys.readouterr()
    assert "unexpected" not in output.err
    assert code in (0, 4)
    assert ("Lost: " in output.err) == (code == 4)
    assert place.read_bytes() == before
    with open_store(str(new)) as store:
        assert check(store).trouble == []
        assert len(list_jobs(store, Wanted(archived=True, most=100))) >= least
        kept = {bytes(store.contents.get(h)) for h in _contents(store)}
    assert {recorded("marigold_trap"), recorded("marigold_repaired"), b"\x89PNG photo"} <= kept, "no recording is lost"


def _contents(store: Store) -> list[str]:
    with store.engine.connect() as connection:
        query = "SELECT content_hash FROM starts UNION SELECT content_hash FROM photos"
        return [str(h) for h in connection.execute(text(query)).scalars()]


def test_recordings_whose_database_is_gone_are_filed_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "s.sqlite"
    filled(str(place), tmp_path).close()
    place.write_bytes(os.urandom(100_000))
    with pytest.raises(StoreError, match="is no record store"):
        open_store(str(place))
    assert run("jobs", "salvage", str(tmp_path / "new.sqlite"), "--store", str(place)) == 4
    assert '3 recordings or photos that no row names are in the job "salvaged"' in capsys.readouterr().out
    with open_store(str(tmp_path / "new.sqlite")) as store:
        whole = records.job_detail(store, "salvaged")
        assert sorted(s["verdict"] for s in whole.starts) == ["FAIL", "PASS"]
        assert len(whole.photos) == 1


def test_salvage_never_writes_over_anything(tmp_path: Path) -> None:
    place = str(tmp_path / "s.sqlite")
    filled(place, tmp_path, 1 + 1).close()
    assert run("jobs", "salvage", place, "--store", place) == 2
    assert run("jobs", "salvage", str(tmp_path / "n.sqlite"), "--store", str(tmp_path / "none.sqlite")) == 2
