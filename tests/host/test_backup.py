"""A backup is the store at one moment, whoever files meanwhile; it is proved by restoring it, and is there whole or not at all."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Table, select, text

from firstcrank.errors import StoreError, UnwritableFileError, UsageError
from firstcrank.jobs import backup as backup_module
from firstcrank.jobs import records
from firstcrank.jobs.backup import back_up
from firstcrank.jobs.backup_file import check_backup, open_backup
from firstcrank.jobs.contents import FolderContents
from firstcrank.jobs.filing import attach
from firstcrank.jobs.packing import hash_of
from firstcrank.jobs.proof import prove
from firstcrank.jobs.restore import restore
from firstcrank.jobs.snapshot import TABLES, rows_of, snapshot
from firstcrank.jobs.store import Store, open_store

from .postgres import shared_store
from .sim_recording import recorded

GOLDEN = Path(__file__).parents[1] / "golden" / "data" / "store" / "shop-backup.zip"


@pytest.fixture
def start(tmp_path: Path) -> Path:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("marigold_trap"))
    return path


def filled(place: str, start: Path) -> Store:
    store = open_store(place)
    records.create_job(store, "1207", customer="Größe", vehicle="Marigold")
    attach(store, "1207", start)
    records.add_note(store, "1207", "a note – with a dash")
    records.add_measurement(store, "1207", "ground strap drop", 0.1 + 0.2, "V")
    records.add_photo(store, "1207", "plug.jpg", b"\xff\xd8" + bytes(range(256)) * 9, "pin 4")
    return store


def all_rows(store: Store) -> dict[str, list[dict[str, object]]]:
    with snapshot(store) as connection:
        return {table.name: list(rows_of(connection, table)) for table in TABLES}


def test_what_comes_back_is_what_was_there(place: str, start: Path, tmp_path: Path) -> None:
    with filled(place, start) as store:
        before = all_rows(store)
        made = back_up(store, tmp_path / "b.zip", check=True)
        recording = store.contents.get(str(before["starts"][0]["content_hash"]))
    assert (made.contents, made.trouble, made.rows["starts"]) == (2, [], 1)
    assert recording == start.read_bytes()
    with open_store(str(tmp_path / "again.sqlite")) as store:
        restore(store, tmp_path / "b.zip")
        assert all_rows(store) == before
        assert store.contents.get(hash_of(start.read_bytes())) == start.read_bytes()
    with shared_store() as url, open_store(url) as store:
        restore(store, tmp_path / "b.zip")
        assert all_rows(store) == before
        records.create_job(store, "next")  # numbers go on from where they were
    assert (tmp_path / "b.zip").stat().st_mode & 0o077 == 0
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        packed = archive.getinfo(f"contents/{hash_of(start.read_bytes())}.z")
    assert packed.file_size < start.stat().st_size / 2


WRITER = """
import sys
from pathlib import Path
from firstcrank.jobs import records
from firstcrank.jobs.filing import attach
from firstcrank.jobs.store import open_store
with open_store(sys.argv[1]) as store:
    print("ready", flush=True)
    for n in range(100_000):
        records.create_job(store, f"W{n}")
        records.add_note(store, f"W{n}", "filed meanwhile")
        records.add_photo(store, f"W{n}", "p", str(n).encode() * 200)
        Path(sys.argv[2]).write_bytes(Path(sys.argv[2]).read_bytes()[:-1] + bytes([n % 256]))
        attach(store, f"W{n}", Path(sys.argv[2]))
"""


def test_a_backup_while_another_process_files(place: str, start: Path, tmp_path: Path) -> None:
    filled(place, start).close()
    moving = tmp_path / "moving.fcr"
    shutil.copy(start, moving)
    writer = subprocess.Popen([sys.executable, "-c", WRITER, place, str(moving)], stdout=subprocess.PIPE, text=True)
    try:
        assert writer.stdout is not None
        writer.stdout.readline()
        counts = []
        for n in range(4):
            with open_store(place) as store:
                made = back_up(store, tmp_path / f"{n}.zip", check=True)
            assert made.trouble == []
            assert prove(tmp_path / f"{n}.zip").rows == made.rows
            counts.append(made.rows["notes"])
        assert writer.poll() is None, "the writer ended: nothing was filed meanwhile"
        assert counts == sorted(counts)
        assert counts[-1] > counts[0], "nothing was filed meanwhile"
    finally:
        writer.kill()
        writer.wait()


def test_rows_filed_between_two_tables_are_in_none_of_them(
    place: str, start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = backup_module._write_table

    def meanwhile(connection: Connection, archive: zipfile.ZipFile, table: Table, jobs: set[object]) -> int:
        with open_store(place) as other:
            records.create_job(other, f"before {table.name}")
            records.add_photo(other, f"before {table.name}", "p", table.name.encode() * 99)
        return whole(connection, archive, table, jobs)

    with filled(place, start) as store:
        before = all_rows(store)
        monkeypatch.setattr(backup_module, "_write_table", meanwhile)
        made = back_up(store, tmp_path / "b.zip", check=True)
        assert made.rows == {name: len(rows) for name, rows in before.items()}
        assert len(all_rows(store)["jobs"]) == 1 + len(TABLES)
    with open_store(str(tmp_path / "again.sqlite")) as store:
        restore(store, tmp_path / "b.zip")
        assert all_rows(store) == before


def test_contents_of_earlier_versions_are_packed_in_the_backup(start: Path, tmp_path: Path) -> None:
    with filled(str(tmp_path / "s.sqlite"), start) as store:
        assert isinstance(store.contents, FolderContents)
        packed = store.contents.path(hash_of(start.read_bytes()))
        packed.with_suffix("").write_bytes(start.read_bytes())  # as they were filed before
        packed.unlink()
        assert store.contents.get(packed.stem) == start.read_bytes()
        assert store.contents.put(start.read_bytes()) == packed.stem
        assert not packed.exists()
        back_up(store, tmp_path / "b.zip", check=True)
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        assert f"contents/{packed.name}" in archive.namelist()


def test_a_recording_that_the_store_lacks_is_told_and_the_rest_kept(start: Path, tmp_path: Path) -> None:
    with filled(str(tmp_path / "s.sqlite"), start) as store:
        assert isinstance(store.contents, FolderContents)
        path = store.contents.path(hash_of(start.read_bytes()))
        path.write_bytes(path.read_bytes()[:-9])
        made = back_up(store, tmp_path / "b.zip", check=True)
    assert (made.contents, len(made.trouble)) == (1, 1)
    assert "altered" in made.trouble[0]
    assert check_backup(tmp_path / "b.zip").lacking == (hash_of(start.read_bytes()),)


def edited(source: Path, target: Path, name: str, change: Any) -> Path:
    """A copy of a backup with one entry changed, or left out where `change` gives None."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for entry in old.namelist():
            content = old.read(entry)
            changed = change(content) if entry.startswith(name) else content
            if changed is not None:
                new.writestr(entry, changed)
    return target


def test_what_does_not_fit_together_is_found(start: Path, tmp_path: Path) -> None:
    with filled(str(tmp_path / "s.sqlite"), start) as store:
        back_up(store, tmp_path / "b.zip")

    def other_job(lines: bytes) -> bytes:
        return json.dumps({**json.loads(lines), "job_id": 77}).encode()

    wrong = {
        "starts.jsonl": (other_job, "belongs to job 77"),
        "contents/": (lambda _: None, "recordings are missing"),
        "notes.jsonl": (lambda _: b"", "0 rows of 1"),
    }
    for number, (name, (change, message)) in enumerate(wrong.items()):
        with pytest.raises(StoreError, match=message):
            check_backup(edited(tmp_path / "b.zip", tmp_path / f"{number}.zip", name, change))
    swapped = edited(tmp_path / "b.zip", tmp_path / "x.zip", "contents/", lambda content: content[:-1])
    with pytest.raises(StoreError, match="no longer fits its hash"):
        check_backup(swapped)


def test_the_proof_finds_a_row_that_does_not_come_back(start: Path, tmp_path: Path) -> None:
    with filled(str(tmp_path / "s.sqlite"), start) as store:
        back_up(store, tmp_path / "b.zip")
        with store.engine.begin() as connection:
            connection.execute(text("UPDATE measurements SET value = 0.3"))
        with snapshot(store) as connection, pytest.raises(StoreError, match="row 1 of measurements"):
            prove(tmp_path / "b.zip", connection)


def test_an_older_backup_is_proved_too() -> None:
    assert prove(GOLDEN).rows == {"jobs": 2, "starts": 3, "notes": 1, "measurements": 1, "photos": 1}
    with open_backup(GOLDEN) as backup:
        assert len(backup.contents) == 4


def test_nothing_half_written_stays(start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "out"
    place.mkdir()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with filled(str(tmp_path / "s.sqlite"), start) as store:
        monkeypatch.setattr(backup_module, "_write_content", full)
        with pytest.raises(UnwritableFileError, match="No space left"):
            back_up(store, place / "b.zip")
        assert list(place.iterdir()) == []
        monkeypatch.undo()
        back_up(store, place / "b.zip")
        with pytest.raises(UsageError, match="already there"):
            back_up(store, place / "b.zip")
        with pytest.raises(UnwritableFileError, match="cannot be written"):
            back_up(store, place / "none" / "b.zip")
    assert [p.name for p in place.iterdir()] == ["b.zip"]


def test_a_store_is_restored_into_an_empty_one_only(start: Path, tmp_path: Path) -> None:
    with filled(str(tmp_path / "s.sqlite"), start) as store:
        back_up(store, tmp_path / "b.zip")
        with pytest.raises(UsageError, match="empty store"):
            restore(store, tmp_path / "b.zip")


def test_a_damaged_store_gives_no_backup_that_looks_whole(start: Path, tmp_path: Path) -> None:
    with filled(str(tmp_path / "s.sqlite"), start) as store:
        with store.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
            connection.exec_driver_sql("UPDATE notes SET job_id = 99")
            connection.commit()
        with pytest.raises(StoreError, match="notes belongs to a job that is not there"):
            back_up(store, tmp_path / "b.zip")
        assert not (tmp_path / "b.zip").exists()
        with store.engine.connect() as connection:
            assert connection.execute(select(TABLES[2].c.job_id)).scalars().all() == [99]
