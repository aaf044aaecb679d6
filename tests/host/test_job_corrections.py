"""What was filed is found by any of its fields and put right, with an audit line each time; the same in both databases."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert, update

from firstcrank.cli.main import main
from firstcrank.errors import UsageError
from firstcrank.jobs import corrections, records
from firstcrank.jobs.audit import audit_lines
from firstcrank.jobs.filing import add_row, attach, same_content
from firstcrank.jobs.list_query import Wanted
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.schema import FORGOTTEN, STARTS
from firstcrank.jobs.search_index import text_of
from firstcrank.jobs.states import StartState
from firstcrank.jobs.store import Store, open_store
from firstcrank.jobs.times import day_range
from firstcrank.jobs.trends import trends

from .sim_recording import recorded


@pytest.fixture
def start(tmp_path: Path) -> Path:
    path = tmp_path / "Häcksler-vorher.fcr"
    path.write_bytes(recorded("marigold_trap"))
    return path


def numbers(store: Store, *terms: str, first_day: str = "", last_day: str = "") -> list[str]:
    return [line.job["number"] for line in list_jobs(store, Wanted(" ".join(terms), first_day=first_day, last_day=last_day))]


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


FIELDS = {
    "customer": "Hof Größe & Söhne",
    "phone": "0711 / 555 042",
    "vehicle": "Marigold, farm pickup",
    "plate": "XX-FC 4711",
    "vin": "1M8GDM9AXKP042788",
    "order_number": "A-2026/88",
}


def test_a_job_is_found_by_any_field_and_what_belongs_to_it(place: str, start: Path) -> None:
    with open_store(place) as store:
        records.create_job(store, "1207", **FIELDS)
        records.create_job(store, "1300", customer="Tansy", vehicle="spare cab")
        attach(store, "1207", start)
        records.add_photo(store, "1207", "plug.jpg", b"\xff\xd8", "module plug, pin 4")
        records.add_note(store, "1207", "moved the feed to Klemme 15", "R. Hale")
        for terms in (
            ("GROESSE",), ("grösse",), ("soehne",), ("0711555042",), ("555", "042"), ("xxfc4711",), ("XX-FC",), ("P042788",),
            ("a-2026/88",), ("a202688",), ("HAECKSLER",), ("vorher",), ("pin", "4"), ("plug.jpg",), ("feed_dead",),
            ("klemme", "hale"), ("FAIL",), ("farm", "1207"),
        ):  # fmt: skip
            assert numbers(store, *terms) == ["1207"], terms
        reason = records.job_detail(store, "1207").starts[0]["reason"]
        assert numbers(store, *reason.split()[:4]) == ["1207"]
        assert numbers(store, "tansy") == ["1300"]
        assert numbers(store, "1207", "tansy") == []


def test_a_search_by_days_takes_the_recording_and_the_job(place: str, start: Path) -> None:
    with open_store(place) as store:
        records.create_job(store, "1207")
        made = attach(store, "1207", start)
        with store.engine.begin() as connection:
            connection.execute(update(STARTS).where(STARTS.c.id == made).values(when_utc="2024-02-29T12:00:00+00:00"))
        assert numbers(store, first_day="2024-02-29", last_day="2024-02-29") == ["1207"]
        assert numbers(store, first_day="2024-02") == ["1207"]
        assert numbers(store, last_day="2024") == ["1207"]
        assert numbers(store, first_day="2024-03-01", last_day="2024-12-31") == []
        assert numbers(store, last_day="2024-02-28") == []
        before = datetime.now().astimezone().date()  # the job was made today, or yesterday where midnight came between
        assert numbers(store, first_day=(before - timedelta(1)).isoformat(), last_day=before.isoformat()) == ["1207"]


@pytest.mark.parametrize("day", ["2024-2-1", "yesterday", "2024-13", "20244"])
def test_days_that_are_none_are_told(day: str) -> None:
    with pytest.raises(UsageError, match="write 2026-05-31"):
        day_range(day, "")


def test_a_day_range_the_wrong_way_round_is_told() -> None:
    with pytest.raises(UsageError, match="after"):
        day_range("2024-05", "2024-04")


def test_fields_and_number_are_corrected_with_a_line_each(place: str) -> None:
    with open_store(place) as store:
        made = records.create_job(store, "1207", **FIELDS)
        records.create_job(store, "9")
        lines = corrections.change_job(store, "1207", "R. Hale", new_number="1270", plate="YY-1", customer="")
        assert lines == ("plate: XX-FC 4711 -> YY-1", "customer: Hof Größe & Söhne -> (empty)", "number: 1207 -> 1270")
        assert [(line["who"], line["text"]) for line in audit_lines(store, made)] == [("R. Hale", line) for line in lines]
        assert numbers(store, "yy-1") == numbers(store, "1270") == ["1270"]
        assert numbers(store, "4711") == numbers(store, "1207") == []
        assert corrections.change_job(store, "1270", plate="YY-1") == ()
        for wrong in ({"new_number": "9"}, {"new_number": " "}, {"colour": "red"}, {"phone": "1" * 65}):
            with pytest.raises(UsageError):
                corrections.change_job(store, "1270", **wrong)
        assert len(audit_lines(store, made)) == 3


def test_a_note_is_corrected_and_the_old_text_kept(place: str) -> None:
    with open_store(place) as store:
        made = records.create_job(store, "1207")
        note = records.add_note(store, "1207", "moved to terminal 51")
        corrections.correct_note(store, note, "moved to terminal 15", "R. Hale")
        corrections.show_customer(store, "note", note, True)
        (kept,) = records.job_detail(store, "1207").notes
        assert (kept["text"], bool(kept["for_customer"])) == ("moved to terminal 15", True)
        first, second = audit_lines(store, made)
        assert "moved to terminal 51" in first["text"]
        assert second["action"] == "for customer"
        assert numbers(store, "terminal 51") == []
        with pytest.raises(UsageError, match="no note 99"):
            corrections.correct_note(store, 99, "x")


def test_a_withdrawn_start_stays_and_counts_nowhere(place: str, start: Path, tmp_path: Path) -> None:
    repaired = tmp_path / "after.fcr"
    repaired.write_bytes(recorded("marigold_repaired"))
    with open_store(place) as store:
        made = records.create_job(store, "1207")
        first, second = attach(store, "1207", start), attach(store, "1207", repaired)
        corrections.set_state(store, str(first), StartState.BEFORE)
        (line,) = list_jobs(store)
        assert (line.start_count, line.last_verdict) == (2, "PASS")
        corrections.set_state(store, str(second), StartState.WITHDRAWN, "wrong vehicle", "R. Hale")
        (line,) = list_jobs(store)
        assert (line.start_count, line.last_verdict) == (1, "FAIL")
        assert trends(store, synthetic=True).verdicts == {"FAIL": 1}
        assert [s["state"] for s in records.job_detail(store, "1207").starts] == ["before repair", "withdrawn"]
        last = audit_lines(store, made)[-1]
        assert (last["start_id"], last["text"]) == (second, f"start {second}: (empty) -> withdrawn (wrong vehicle)")
        assert numbers(store, "withdrawn") == ["1207"]


def test_a_start_is_filed_once_however_often_it_is_sent(place: str, start: Path) -> None:
    with open_store(place) as store:
        job = records.create_job(store, "1207")
        attach(store, "1207", start)
        (row,) = records.job_detail(store, "1207").starts
        values = {k: v for k, v in row.items() if k not in ("id", "job_id", "content_hash", "size_bytes")}
        assert add_row(store, job, start.read_bytes(), values) == row["id"]
        assert len(records.job_detail(store, "1207").starts) == 1
        assert same_content(store, start) == ((row["id"], "1207"),)
        with store.engine.begin() as connection:
            connection.execute(insert(FORGOTTEN).values(kind="start", name="gone", at_utc="2026-01-02", who=""))
        with pytest.raises(UsageError, match="privacy on 2026-01-02"):
            add_row(store, job, start.read_bytes(), {**values, "uuid": "gone"})


def test_every_change_keeps_the_search_text_whole(place: str, start: Path) -> None:
    with open_store(place) as store:
        one, other = records.create_job(store, "1207", **FIELDS), records.create_job(store, "1300")
        made = attach(store, "1207", start)
        records.add_measurement(store, "1207", "ground strap drop", 0.12, "V")
        corrections.move_start(store, str(made), "1300")
        with store.engine.connect() as connection:
            for job_id, number in ((one, "1207"), (other, "1300")):
                assert records.find_job(store, number)["search_text"] == text_of(connection, job_id)


def test_the_commands(tmp_path: Path, start: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = ("--store", str(tmp_path / "s.sqlite"))
    assert run("jobs", "new", "1207", "--customer", "Größe", "--order", "88", *store) == 0
    assert run("jobs", "attach", "1207", str(start), *store) == 0
    assert run("jobs", "note", "1207", "for the page", *store) == 0
    assert run("jobs", "mark", "1", "not-valid", "--reason", "lead off", "--who", "R. Hale", *store) == 0
    assert run("jobs", "customer", "note", "1", *store) == 0
    assert run("jobs", "correct-note", "1", "for the customer's page", *store) == 0
    assert run("jobs", "change", "1207", "--number", "1270", *store) == 0
    assert run("jobs", "find", "groesse", "--from", "2026", *store) == 0
    assert run("jobs", "show", "1270", *store) == 0
    assert run("jobs", "history", "1270", *store) == 0
    output = capsys.readouterr().out
    for terms in (
        "number: 1207 -> 1270",
        "(not valid)",
        "(for the customer)",
        "order       88",
        "R. Hale  start marked",
        "lead off",
    ):
        assert terms in output
    assert run("jobs", "find", "--from", "5.6.2026", *store) == 2
