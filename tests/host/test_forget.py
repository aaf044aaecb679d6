"""Deleted for privacy means gone: from the rows, the search, the file's own bytes; and it comes back by no way that is ours."""

from __future__ import annotations

import shutil
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from click.testing import CliRunner
from sqlalchemy import select, text, update

from firstcrank.analysis.verdict import judge
from firstcrank.cli.jobs_forget import forget as command
from firstcrank.cli.main import main
from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs import corrections, forgetting, outbox, records
from firstcrank.jobs.backup import back_up
from firstcrank.jobs.check import check
from firstcrank.jobs.contents import FolderContents
from firstcrank.jobs.filing import attach, start_row
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.merging import merge
from firstcrank.jobs.other_store import other_store
from firstcrank.jobs.packing import hash_of
from firstcrank.jobs.restore import restore
from firstcrank.jobs.schema import ANONYMOUS_STARTS, AUDIT, FORGOTTEN, JOBS, STARTS
from firstcrank.jobs.scrubbing import scrub
from firstcrank.jobs.sending import send
from firstcrank.jobs.store import Store, open_store
from firstcrank.jobs.trends import Choice, trends
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import read_native

from .postgres import shared_store
from .sim_recording import recorded

PHOTO = b"\xff\xd8 the face of the customer \x00\x01\x02\x03"
# Texts of the job that is forgotten; none of them is part of anything that stays.
FIELDS = {
    "customer": "Quillfeather Nonesuch",
    "phone": "0711 983 4471",
    "vehicle": "Heirloom sprayer",
    "plate": "QX-ZW 8832",
    "vin": "1M8GDM9AXKP042788",
    "order_number": "ORD-77331",
    "engine": "grandfather's spare",
}
TEXTS = (
    *FIELDS.values(),
    "quillfeather",
    "07119834471",
    "JOB-4711",
    "OLD-4710",
    "wants it by the wedding",
    "Corrected away",
    "portrait",
)


@pytest.fixture(autouse=True)
def own_outbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / "outbox"))
    return tmp_path / "outbox"


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


def filled(place: str, folder: Path) -> Store:
    """Two jobs; the one to be forgotten was called otherwise before, and has a start that was moved here from the other."""
    store = open_store(place)
    records.create_job(store, "stays", customer="Hale", vehicle="green pickup")
    records.create_job(store, "OLD-4710", **FIELDS)
    for job, name in (("OLD-4710", "marigold_trap"), ("stays", "marigold_repaired")):
        path = folder / f"{name}.fcr"
        path.write_bytes(recorded(name))
        attach(store, job, path)
    corrections.change_job(store, "OLD-4710", "R. Hale", new_number="JOB-4711")
    corrections.correct_note(store, records.add_note(store, "JOB-4711", "Corrected away"), "wants it by the wedding")
    records.add_photo(store, "JOB-4711", "face.jpg", PHOTO, "portrait")
    records.add_measurement(store, "JOB-4711", "strap of Quillfeather", 0.1, "V")
    corrections.move_start(store, "1", "stays")
    corrections.move_start(store, "1", "JOB-4711")
    with store.engine.begin() as connection:  # as of a real vehicle
        connection.execute(update(STARTS).values(synthetic=False, when_utc="2026-05-17T10:11:12+00:00"))
    return store


def forgotten(store: Store, number: str = "JOB-4711", keep: bool = False) -> forgetting.Deleted:
    done = forgetting.forget(store, [records.find_job(store, number)["id"]], "R. Hale", keep)
    scrub(store)
    return done


def found_in(folder: Path, texts: tuple[str, ...] = TEXTS) -> set[str]:
    """Which of the texts stand in the bytes of any file."""
    content = b"\0".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())
    return {one for one in texts if one.encode("utf-8") in content}


def test_the_text_is_gone_from_the_file_s_own_bytes(tmp_path: Path) -> None:
    place = tmp_path / "store" / "shop.sqlite"
    place.parent.mkdir()
    with filled(str(place), tmp_path) as store:
        assert found_in(place.parent) == set(TEXTS), "all of it is there before"
        assert isinstance(store.contents, FolderContents)
        forgotten(store)
        assert found_in(place.parent) == set(), "while the store is open: the file, -wal and -shm"
        wal = place.with_name("shop.sqlite-wal")
        assert not wal.exists() or wal.stat().st_size == 0
        assert not store.contents.path(hash_of(recorded("marigold_trap"))).exists()
        assert not store.contents.path(hash_of(PHOTO)).exists()
        assert check(store).trouble == []
    assert found_in(place.parent) == set()
    assert {"Hale", "green pickup"} == found_in(place.parent, ("Hale", "green pickup")), "the other job stays"


def test_what_is_gone_and_what_stays(place: str, tmp_path: Path) -> None:
    with filled(place, tmp_path) as store:
        done = forgotten(store)
        assert done.text() == "1 job with 1 start, 1 note, 1 measurement, 1 photo"
        assert [line.job["number"] for line in list_jobs(store, Wanted(archived=True))] == ["stays"]
        for typed in ("quillfeather", "QXZW8832", "wedding", "portrait"):
            assert list_jobs(store, Wanted(typed, archived=True)) == []
        with store.engine.connect() as connection:
            lines = connection.execute(select(AUDIT.c.who, AUDIT.c.action, AUDIT.c.text, AUDIT.c.job_id)).all()
            stones = connection.execute(select(FORGOTTEN.c.kind, FORGOTTEN.c.who)).all()
            assert connection.execute(select(ANONYMOUS_STARTS)).all() == []
            assert connection.execute(select(JOBS.c.search_text)).scalars().all() == [
                records.find_job(store, "stays")["search_text"]
            ]
        assert ("R. Hale", "forgotten", "1 job with 1 start, 1 note, 1 measurement, 1 photo deleted for privacy", None) in lines
        assert not any(one in str(line) for line in lines for one in TEXTS)
        assert any(line[2] == "start 1 moved from job (forgotten) to job stays" for line in lines), lines
        kinds = sorted(str(kind) for kind, _ in stones)
        assert kinds == ["content"] * 2 + ["job", "measurement", "note", "number", "number", "photo", "start"]
        assert {who for _, who in stones} == {"R. Hale"}
        with pytest.raises(UsageError, match="for privacy"):
            attach(store, "stays", tmp_path / "marigold_trap.fcr")
        whole = records.job_detail(store, "stays")
        assert store.contents.get(whole.starts[0]["content_hash"]) == recorded("marigold_repaired")
        assert check(store).trouble == []


def test_the_text_is_gone_from_postgresql_s_tables_when_they_are_rewritten(tmp_path: Path) -> None:
    """And what VACUUM does not do: the server's write-ahead log still holds it. A server of its own: others hold the same texts."""
    with shared_store() as url:
        server = Path(parse_qs(urlsplit(url).query)["host"][0]) / "data"
        _gone_from(url, server, tmp_path)


def _gone_from(url: str, server: Path, tmp_path: Path) -> None:
    with filled(url, tmp_path) as store:
        with store.engine.connect() as connection:
            auto = connection.execution_options(isolation_level="AUTOCOMMIT")
            auto.execute(text("ANALYZE"))
            auto.execute(text("CHECKPOINT"))
        assert found_in(server / "base", TEXTS[:4]) == set(TEXTS[:4])
        forgetting.forget(store, [records.find_job(store, "JOB-4711")["id"]])
        cleared, messages = scrub(store, rewrite=True)
        assert cleared
        assert "write-ahead log, replicas and backups still hold it" in messages[0]
        with store.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text("CHECKPOINT"))
        assert found_in(server / "base") == set()
        assert "Quillfeather Nonesuch" in found_in(server / "pg_wal"), "which is what is told"
        assert "only when it needs the room" in scrub(store)[1][0]
        assert check(store).trouble == []


def test_figures_stay_without_job_day_and_recording(place: str, tmp_path: Path) -> None:
    with filled(place, tmp_path) as store:
        before = trends(store)
        forgotten(store, keep=True)
        after = trends(store)
        assert (after.verdicts, after.causes, after.feed_drop_v, after.crank_v) == (
            before.verdicts,
            before.causes,
            before.feed_drop_v,
            before.crank_v,
        )
        assert before.verdicts == {"FAIL": 1, "PASS": 1}
        assert trends(store, choice=Choice(find="green")).verdicts == {"PASS": 1}
        with store.engine.connect() as connection:
            (kept,) = connection.execute(select(ANONYMOUS_STARTS)).mappings().all()
        assert kept["when_utc"] == "2026-05-01T00:00:00+00:00"
        assert not {"job_id", "content_hash", "file_name", "reason", "judgement_json"} & set(kept)
        back_up(store, tmp_path / "after.zip", check=True)
    with open_store(str(tmp_path / "again.sqlite")) as store:
        restore(store, tmp_path / "after.zip")
        assert trends(store).verdicts == before.verdicts


def test_a_recording_that_another_job_has_too_stays_there(place: str, tmp_path: Path) -> None:
    with filled(place, tmp_path) as store:
        attach(store, "stays", tmp_path / "marigold_trap.fcr")
        forgotten(store)
        assert [store.contents.state(s["content_hash"]) for s in records.job_detail(store, "stays").starts] == ["whole"] * 2
        assert check(store).trouble == []


def test_no_outbox_brings_it_back(place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "start.fcr"
    file.write_bytes(recorded("marigold_trap"))
    recording = read_native(file)
    judgement = judge(recording.trace, shipped(12), recording.context)

    def kept(name: str, job: str, content: bytes, kept_utc: str) -> None:
        monkeypatch.setattr(outbox, "now_utc", lambda: kept_utc)
        outbox.keep(name, job, content, start_row("x.fcr", recording, judgement, shipped(12)))

    with filled(place, tmp_path) as store:
        kept(store.name, "JOB-4711", b"on this computer", "2026-01-01T00:00:00+00:00")
        assert forgetting.out_of_outbox(store, ["JOB-4711"]) == 1
        assert outbox.waiting() == ((), ())
        forgotten(store)
        kept(store.name, "JOB-4711", b"on another computer", "2026-01-01T00:00:00+00:00")
        kept(store.name, "OLD-4710", b"by its old number", "2026-01-01T00:00:00+00:00")
        records.create_job(store, "JOB-4711", customer="someone else, the number used again")
        sent = send(store)
        assert (sent.filed, len(sent.trouble)) == ((), 2)
        assert all("deleted from the record for privacy" in line for line in sent.trouble)
        assert outbox.waiting() == ((), ()), "taken out"
        kept(store.name, "JOB-4711", b"of the new job", "2099-01-01T00:00:00+00:00")
        assert [filed.job for filed in send(store).filed] == ["JOB-4711"]


def test_what_a_restored_backup_does(tmp_path: Path) -> None:
    """A backup made before still holds it; the tombstones of the store restored into, or of one merged afterwards, count."""
    shop, new = str(tmp_path / "shop.sqlite"), tmp_path / "new" / "new.sqlite"
    new.parent.mkdir()
    with filled(shop, tmp_path) as store:
        back_up(store, tmp_path / "before.zip")
        forgotten(store)
    with open_store(str(new)) as store:
        restore(store, tmp_path / "before.zip")
        assert records.find_job(store, "JOB-4711")["customer"] == FIELDS["customer"], "nothing there knows better"
        with other_store(shop, store) as current:
            assert merge(store, current).forgotten == 1
        scrub(store)
        assert [line.job["number"] for line in list_jobs(store)] == ["stays"]
    assert found_in(new.parent) == set()
    with open_store(str(tmp_path / "third.sqlite")) as store:
        with open_store(shop) as current, current.engine.connect() as connection, store.engine.begin() as target:
            stones = [dict(row) for row in connection.execute(select(FORGOTTEN)).mappings()]
            target.execute(FORGOTTEN.insert(), stones)
        restore(store, tmp_path / "before.zip")
        assert [line.job["number"] for line in list_jobs(store)] == ["stays"]
        assert store.contents.state(hash_of(PHOTO)) == "missing"
        assert check(store).trouble == []


def test_deleting_that_was_cut_off_is_told_and_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "shop.sqlite")

    def away(*_: object) -> None:
        raise StoreError("the share is gone")

    with filled(place, tmp_path) as store:
        monkeypatch.setattr(FolderContents, "remove", away)
        done = forgotten(store)
        assert len(done.trouble) == 2
        monkeypatch.undo()
        monkeypatch.setenv(outbox.ENVIRONMENT, str(tmp_path / "outbox"))
        assert "2 recordings or photos that were deleted for privacy are still there" in check(store).trouble[0]
    assert run("jobs", "forget", "--sweep", "--store", place) == 0
    with open_store(place) as store:
        assert check(store).trouble == []
        assert check(store).notes == []


def test_a_reader_of_the_log_is_told_and_swept_later(tmp_path: Path) -> None:
    place = tmp_path / "store" / "shop.sqlite"
    place.parent.mkdir()
    with filled(str(place), tmp_path) as store, open_store(str(place)) as reader:
        with reader.engine.connect() as held:
            held.exec_driver_sql("BEGIN")
            held.execute(select(JOBS)).all()
            forgetting.forget(store, [records.find_job(store, "JOB-4711")["id"]])
            cleared, messages = scrub(store, busy_ms=100)
            assert not cleared
            assert "--sweep does it later" in messages[0]
        assert scrub(store) == (True, [])
        assert found_in(place.parent) == set()


def test_the_command_asks_first(tmp_path: Path, own_outbox: Path) -> None:
    place = str(tmp_path / "shop.sqlite")
    filled(place, tmp_path).close()
    before = tmp_path / "before.sqlite"
    shutil.copy(place, before)
    asked = CliRunner().invoke(command, ["JOB-4711", "--store", place], input="n\n", standalone_mode=False)
    assert asked.return_value == 1
    assert "Quillfeather Nonesuch" in asked.output
    with open_store(place) as store:
        assert len(list_jobs(store)) == 2
    assert run("jobs", "forget", "--store", place) == 2
    assert run("jobs", "forget", "no such job", "--store", place) == 2
    assert run("jobs", "forget", "--customer", "nobody", "--store", place) == 2
    assert run("jobs", "forget", "--sweep", "JOB-4711", "--store", place) == 2
    done = CliRunner().invoke(
        command, ["--customer", "QUILLFEATHER 983", "--keep-measurements", "--store", place], input="y\n", standalone_mode=False
    )
    assert done.return_value == 0, done.output
    assert "Backups made before still hold it" in done.output
    with open_store(place) as store:
        assert [line.job["number"] for line in list_jobs(store)] == ["stays"]
        assert sum(trends(store).verdicts.values()) == 2
