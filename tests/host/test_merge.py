"""Two stores become one: each row once however often it is done, the same in both directions, nothing forgotten comes back."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from firstcrank.cli.main import main
from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs import corrections, forgetting, outbox, records
from firstcrank.jobs.check import check
from firstcrank.jobs.filing import add_row, attach
from firstcrank.jobs.identity import new_uuid
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.merging import Merged, merge
from firstcrank.jobs.migrating import migrate
from firstcrank.jobs.other_store import other_store
from firstcrank.jobs.schema import AUDIT, JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS
from firstcrank.jobs.snapshot import TABLES, rows_of, snapshot
from firstcrank.jobs.states import StartState
from firstcrank.jobs.store import Store, open_store

from .record_kills import killed
from .sim_recording import recorded


@pytest.fixture(autouse=True)
def own_outbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / "outbox"))


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


def start_file(folder: Path, name: str = "marigold_trap") -> Path:
    path = folder / f"{name}.fcr"
    path.write_bytes(recorded(name))
    return path


def filed(store: Store, folder: Path, number: str = "1207", name: str = "marigold_trap", **fields: str) -> None:
    records.create_job(store, number, **fields)
    start = attach(store, number, start_file(folder, name))
    records.add_note(store, number, f"a note of {number}")
    records.add_measurement(store, number, "ground strap drop", 0.12, "V")
    records.add_photo(store, number, "plug.jpg", f"photo of {number}".encode(), "pin 4")
    corrections.set_state(store, str(start), StartState.BEFORE)


def merged(into: Store, source: str, dry_run: bool = False) -> Merged:
    with other_store(source, into) as other:
        return merge(into, other, "R. Hale", dry_run)


def all_rows(store: Store) -> dict[str, list[dict[str, object]]]:
    with snapshot(store) as connection:
        return {table.name: list(rows_of(connection, table)) for table in TABLES}


def test_a_laptop_s_store_comes_into_the_shop_s(place: str, tmp_path: Path) -> None:
    """From SQLite into each kind of store; the other direction below."""
    laptop = str(tmp_path / "laptop.sqlite")
    with open_store(place) as shop, open_store(laptop) as store:
        filed(shop, tmp_path, "1207", customer="Tansy")
        filed(store, tmp_path, "1207", "marigold_repaired", customer="Größe")
        records.create_job(store, "1300", customer="only here")
    before = Path(laptop).read_bytes()
    with open_store(place) as shop:
        untouched = all_rows(shop)
        would = merged(shop, laptop, dry_run=True)
        assert all_rows(shop) == untouched
        done = merged(shop, laptop)
        assert would.rows == done.rows == {"jobs": 2, "starts": 1, "notes": 1, "measurements": 1, "photos": 1, "audit": 1}
        assert would.renumbered == done.renumbered == [("1207", "1207-2")]
        assert (done.contents, done.trouble, done.same, done.forgotten) == (2, [], 0, 0)
        whole = records.job_detail(shop, "1207-2")
        assert shop.contents.get(whole.starts[0]["content_hash"]) == recorded("marigold_repaired")
        assert (whole.starts[0]["state"], whole.job["customer"]) == ("before repair", "Größe")
        lines = [(line["action"], line["text"]) for line in whole.audit]
        assert lines[0][0] == "start marked", "history comes along"
        assert lines[0] != lines[1]
        assert whole.audit[0]["start_id"] == whole.starts[0]["id"]
        moved = f"job 1207 there is 1207-2 here, start 1 there is {whole.starts[0]['id']} here"
        assert moved in lines[1][1], "both numbers are kept"
        assert [line.job["number"] for line in list_jobs(shop, Wanted("groesse"))] == ["1207-2"]
        assert check(shop).trouble == []
        once = all_rows(shop)
        again = merged(shop, laptop)
        assert (again.rows, again.changed, again.contents) == ({}, [], 0)
        assert all_rows(shop) == once, "twice changes nothing"
        records.create_job(shop, "next")  # numbers go on
    assert Path(laptop).read_bytes() == before, "the other store is only read"


def test_the_shop_s_store_comes_into_a_laptop_s(place: str, tmp_path: Path) -> None:
    """From each kind of store into SQLite, and nothing is left to bring back."""
    laptop = str(tmp_path / "laptop.sqlite")
    with open_store(place) as shop, open_store(laptop) as store:
        filed(shop, tmp_path, "1207", customer="Tansy")
        done = merged(store, place)
        assert done.rows["starts"] == 1
        assert check(store).trouble == []
        whole = records.job_detail(store, "1207")
        assert store.contents.get(whole.starts[0]["content_hash"]) == recorded("marigold_trap")
        assert whole.starts[0]["judgement_json"] == records.job_detail(shop, "1207").starts[0]["judgement_json"]
        assert set(merged(shop, laptop).rows) <= {"audit"}, "the line that says where it went"


def test_the_same_file_filed_in_both_with_the_same_job_is_there_once(tmp_path: Path) -> None:
    one, two = str(tmp_path / "one.sqlite"), str(tmp_path / "two.sqlite")
    with open_store(one) as store:
        records.create_job(store, "1207")
    shutil.copy(one, two)
    for place, state in ((one, StartState.NONE), (two, StartState.AFTER)):
        with open_store(place) as store:
            start = attach(store, "1207", start_file(tmp_path))
            records.add_photo(store, "1207", "a.jpg", b"the same photo")
            if state:
                corrections.set_state(store, str(start), state)
    with open_store(one) as store:
        done = merged(store, two)
        assert (done.same, done.rows) == (2, {"audit": 1})
        whole = records.job_detail(store, "1207")
        assert [s["state"] for s in whole.starts] == ["after repair"], "what was marked there is marked here"
        assert len(whole.photos) == 1
        assert merged(store, two).rows == {}


def test_corrections_in_both_end_as_the_last_one(tmp_path: Path) -> None:
    one, two = tmp_path / "one.sqlite", tmp_path / "two.sqlite"
    with open_store(str(one)) as store:
        filed(store, tmp_path, "1207", plate="first", customer="first")
        filed(store, tmp_path, "9", "marigold_repaired")
    for path in (one, tmp_path / "one-recordings"):
        other = path.with_name(path.name.replace("one", "two"))
        (shutil.copytree if path.is_dir() else shutil.copy)(path, other)
    with open_store(str(one)) as a, open_store(str(two)) as b:
        corrections.change_job(a, "1207", plate="of one")
        corrections.change_job(b, "1207", customer="of two", new_number="1270")
        corrections.correct_note(b, 1, "corrected in two")
        corrections.move_start(b, "1", "9")
        corrections.set_state(b, "2", StartState.WITHDRAWN)
        corrections.archive_job(b, "9")
        corrections.show_customer(b, "photo", 1, True)
        done = merged(a, str(two))
        assert len(done.changed) == 7, done.changed
        assert done.trouble == []
        assert set(merged(b, str(one)).rows) == {"audit"}
        for store in (a, b):
            job = records.find_job(store, "1270")
            assert (job["plate"], job["customer"]) == ("of one", "of two")
            whole, nine = records.job_detail(store, "1270"), records.job_detail(store, "9")
            assert whole.notes[0]["text"] == "corrected in two"
            assert (whole.starts, len(nine.starts)) == ((), 2)
            assert [s["state"] for s in nine.starts] == ["before repair", "withdrawn"]
            assert nine.job["archived"]
            assert whole.photos[0]["for_customer"]
            assert check(store).trouble == []


def test_what_was_forgotten_stays_out_and_goes_here_too(place: str, tmp_path: Path) -> None:
    laptop = str(tmp_path / "laptop.sqlite")
    with open_store(place) as shop:
        filed(shop, tmp_path, "1207", customer="Tansy")
        filed(shop, tmp_path, "9", "marigold_repaired", customer="Hale")
        with open_store(laptop) as store:
            merged(store, place)
            forgetting.forget(store, [records.find_job(store, "9")["id"]])
            back = merged(store, place)
            assert (back.kept_out > 0, [line.job["number"] for line in list_jobs(store)]) == (True, ["1207"]), "kept out"
        forgetting.forget(shop, [records.find_job(shop, "1207")["id"]])
        assert [line.job["number"] for line in list_jobs(shop)] == ["9"]
        done = merged(shop, laptop)
        assert done.forgotten == 1, "job 9 was forgotten on the laptop"
        assert done.kept_out > 0, "job 1207 was forgotten here"
        assert list_jobs(shop, Wanted(archived=True)) == []
        assert check(shop).trouble == []
        rows = all_rows(shop)
        assert rows["starts"] == rows["notes"] == rows["photos"] == rows["measurements"] == []
        assert {line["action"] for line in rows["audit"]} == {"forgotten"}
        for name in ("marigold_trap", "marigold_repaired"):
            start_file(tmp_path, name)
            records.find_job(shop, "new") if list_jobs(shop, Wanted("new")) else records.create_job(shop, "new")
            with pytest.raises(UsageError, match="for privacy"):
                attach(shop, "new", tmp_path / f"{name}.fcr")


def test_another_schema_is_told_with_what_to_do(tmp_path: Path) -> None:
    from sqlalchemy import create_engine

    old = tmp_path / "old.sqlite"
    engine = create_engine(f"sqlite:///{old}")
    migrate(engine, "0004")
    engine.dispose()
    content = old.read_bytes()
    (tmp_path / "odd.sqlite").write_bytes(b"no database at all, whatever its name says")
    import sqlite3

    with open_store(str(tmp_path / "s.sqlite")) as store:
        with pytest.raises(StoreError, match=r"earlier firstcrank.*jobs list --store COPY"):
            merged(store, str(old))
        assert old.read_bytes() == content, "it is not brought up to date from here"
        with sqlite3.connect(old) as connection:
            connection.execute("UPDATE alembic_version SET version_num = '9999'")
        with pytest.raises(StoreError, match="newer firstcrank: update this one"):
            merged(store, str(old))
        with pytest.raises(UsageError, match="the store itself"):
            merged(store, str(tmp_path / "s.sqlite"))
        with pytest.raises(StoreError, match="no record store"):
            merged(store, str(tmp_path / "odd.sqlite"))
        with pytest.raises(StoreError, match="there is no record store"):
            merged(store, str(tmp_path / "none.sqlite"))


def test_a_merge_that_is_killed_has_merged_nothing_or_all(place: str, tmp_path: Path) -> None:
    import random

    laptop = str(tmp_path / "laptop.sqlite")
    with open_store(laptop) as store:
        for n in range(30):
            records.create_job(store, f"L{n}")
            records.add_note(store, f"L{n}", "a note")
            records.add_photo(store, f"L{n}", "p", os.urandom(2000))
    with open_store(place) as shop:
        records.create_job(shop, "L7")
    chance = random.Random(3)
    for number in range(12):

        def work(say: object) -> None:
            with open_store(place) as shop:
                merged(shop, laptop)
            say("told")  # type: ignore[operator]

        output = list(killed(work, chance.uniform(0.1, 1.2) if number else 0.05))
        with open_store(place) as shop:
            count = len(list_jobs(shop, Wanted(most=100)))
            assert count in (1, 31), "half merged"
            assert count == 31 or not output
            assert check(shop).trouble == []
    with open_store(place) as shop:
        merged(shop, laptop)
        assert len(list_jobs(shop, Wanted(most=100))) == 31
        assert merged(shop, laptop).rows == {}


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop, laptop = str(tmp_path / "shop.sqlite"), str(tmp_path / "laptop.sqlite")
    with open_store(shop) as one, open_store(laptop) as two:
        filed(one, tmp_path, "1207", customer="Tansy")
        filed(two, tmp_path, "1207", "marigold_repaired")
    assert run("jobs", "merge", laptop, "--dry-run", "--store", shop) == 0
    assert "Would bring from" in capsys.readouterr().out
    assert run("jobs", "merge", laptop, "--store", shop) == 0
    output = capsys.readouterr().out
    assert "Brought from" in output
    assert "Job 1207 there is job 1207-2 here" in output
    assert run("jobs", "merge", laptop, "--store", shop) == 0
    assert "nothing that is not here already" in capsys.readouterr().out
    assert run("jobs", "forget", "1207", "--yes", "--store", laptop) == 0
    capsys.readouterr()
    assert run("jobs", "merge", laptop, "--store", shop, "--yes") == 0
    assert "here too: job 1207-2" in capsys.readouterr().err
    with open_store(shop) as store:
        assert [line.job["number"] for line in list_jobs(store)] == ["1207"]


# What may happen in a store: a small world, so that two stores meet in the same rows.
OPERATIONS = st.one_of(
    st.tuples(st.just("job"), st.sampled_from(["1", "2", "3"])),
    st.tuples(st.just("note"), st.integers(0, 3), st.sampled_from(["x", "y"])),
    st.tuples(st.just("start"), st.integers(0, 3), st.integers(0, 2)),
    st.tuples(st.just("photo"), st.integers(0, 3), st.integers(0, 2)),
    st.tuples(st.just("field"), st.integers(0, 3), st.sampled_from(["plate", "vin"]), st.sampled_from(["p", "q"])),
    st.tuples(st.just("correct"), st.integers(0, 3), st.sampled_from(["x", "z"])),
    st.tuples(st.just("mark"), st.integers(0, 3), st.sampled_from(list(StartState))),
    st.tuples(st.just("move"), st.integers(0, 3), st.integers(0, 3)),
    st.tuples(st.just("archive"), st.integers(0, 3), st.booleans()),
    st.tuples(st.just("forget"), st.integers(0, 3), st.booleans()),
)


def do(store: Store, operation: tuple[object, ...]) -> None:
    """One of them; one whose row is not there does nothing."""
    kind, *given = operation
    with store.engine.connect() as connection:
        rows = {t.name: connection.execute(select(t).order_by(t.c.id)).mappings().all() for t in (JOBS, STARTS, NOTES)}

    def nth(name: str, n: object) -> dict[str, object] | None:
        found = rows[name]
        return dict(found[int(str(n)) % len(found)]) if found else None

    job = nth("jobs", given[0]) if kind != "job" else None
    number = str(job["number"]) if job else ""
    try:
        if kind == "job":
            records.create_job(store, str(given[0]))
        elif kind == "note" and job:
            records.add_note(store, number, str(given[1]), "someone")
        elif kind == "photo" and job:
            records.add_photo(store, number, "p", f"photo {given[1]}".encode())
        elif kind == "start" and job:
            row = {"uuid": new_uuid(), "file_name": "f", "recorded_utc": "", "verdict": "PASS", "limits_json": "{}"}
            add_row(store, int(str(job["id"])), f"start {given[1]}".encode(), {**row, "judgement_json": "{}"})
        elif kind == "field" and job:
            corrections.change_job(store, number, **{str(given[1]): str(given[2])})
        elif kind == "archive" and job:
            corrections.archive_job(store, number, bool(given[1]))
        elif kind == "forget" and job:
            forgetting.forget(store, [int(str(job["id"]))], keep_figures=bool(given[1]))
        elif kind == "correct" and (note := nth("notes", given[0])):
            corrections.correct_note(store, int(str(note["id"])), str(given[1]))
        elif kind == "mark" and (start := nth("starts", given[0])):
            corrections.set_state(store, str(start["id"]), StartState(str(given[1])))
        elif kind == "move" and (start := nth("starts", given[0])) and job:
            corrections.move_start(store, str(start["id"]), str(rows["jobs"][int(str(given[1])) % len(rows["jobs"])]["number"]))
    except UsageError:
        pass  # a number that is taken, a recording that was forgotten


def known(store: Store) -> object:
    """All that a store knows, without ids and numbers, and with what both filed by themselves under its job and content."""
    with store.engine.connect() as connection:
        jobs = {r["id"]: r["uuid"] for r in connection.execute(select(JOBS)).mappings()}
        skip = ("id", "job_id", "number", "search_text", "filed_utc", "when_utc", "start_id", "added_utc")
        found: list[object] = []
        for table in (JOBS, STARTS, NOTES, MEASUREMENTS, PHOTOS):
            for row in connection.execute(select(table)).mappings():
                values = {k: v for k, v in row.items() if k not in skip}
                if "content_hash" in row:
                    del values["uuid"]
                found.append((table.name, jobs.get(row.get("job_id")), sorted(values.items(), key=str)))
        lines = connection.execute(select(AUDIT.c.uuid).where(AUDIT.c.action.not_in(("merged", "forgotten")))).scalars()
        return sorted(found, key=str), sorted(lines)


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "s.sqlite"
    open_store(str(path), scratch=True).close()
    return path


def copied(source: Path, name: str) -> Path:
    target = source.with_name(name)
    shutil.copy(source, target)
    folder = source.with_name(source.stem + "-recordings")
    if folder.exists():
        shutil.copytree(folder, target.with_name(target.stem + "-recordings"))
    return target


@pytest.fixture(scope="module")
def scratch() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


@settings(
    max_examples=max(20, settings().max_examples),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(OPERATIONS, max_size=8), st.lists(OPERATIONS, max_size=8), st.lists(OPERATIONS, max_size=8))
def test_merging_is_idempotent_and_the_same_in_both_directions(
    empty: Path,
    scratch: Path,
    common: list[tuple[object, ...]],
    first: list[tuple[object, ...]],
    second: list[tuple[object, ...]],
) -> None:
    """Two stores with a common past and a time apart: whichever takes the other in knows the same in the end, but for numbers."""
    with tempfile.TemporaryDirectory(dir=scratch) as name:
        one = Path(name) / "one.sqlite"
        shutil.copy(empty, one)
        apply(one, common)
        two = copied(one, "two.sqlite")
        apply(one, first)
        apply(two, second)
        ends = []
        for into, source in (("one.sqlite", two), ("two.sqlite", one)):
            target = copied(Path(name) / into, f"into-{into}")
            with open_store(str(target), scratch=True) as store:
                would = merged(store, str(source), dry_run=True)
                done = merged(store, str(source))
                assert (would.rows, would.changed, would.renumbered) == (done.rows, done.changed, done.renumbered)
                once = all_rows(store)
                merged(store, str(source))
                assert all_rows(store) == once
                assert check(store).trouble == []
                ends.append(known(store))
        assert ends[0] == ends[1]


def apply(path: Path, operations: list[tuple[object, ...]]) -> None:
    with open_store(str(path), scratch=True) as store:
        for operation in operations:
            do(store, operation)
