"""The list of jobs against a plain model of it, in each database and the quick way; and what the quick way leaves to open_store."""

from __future__ import annotations

import os
import shutil
import sqlite3
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, insert

from firstcrank.errors import UsageError
from firstcrank.jobs.folding import search_text, ways_of
from firstcrank.jobs.list_query import JobSummary, Wanted
from firstcrank.jobs.listing import every_job, list_jobs
from firstcrank.jobs.quick_list import quick_list
from firstcrank.jobs.records import create_job
from firstcrank.jobs.schema import JOBS, STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.jobs.times import day_range

TYPED = ("Häcksler", "haecksler", "7042", "B-X 7042", "kiesel", "100%", "it's", "a_b", "?", "Straße", "\u0301")
DAYS = ("2024-05-30", "2024-05-31", "2024-06-01", "2025-01-01")
VERDICTS = ("PASS", "FAIL", "NO VERDICT")


@dataclass(frozen=True)
class Start:
    """What of a start the list reads."""

    verdict: str
    feed_verdict: str | None
    synthetic: bool
    state: str
    day: str


@dataclass(frozen=True)
class Job:
    """What of a job the list reads."""

    texts: tuple[str, ...]
    archived: bool
    day: str
    starts: tuple[Start, ...]


STARTED = st.builds(
    Start,
    st.sampled_from(VERDICTS),
    st.sampled_from((None, *VERDICTS)),
    st.booleans(),
    st.sampled_from(("", "before repair", "not valid", "withdrawn")),
    st.sampled_from(DAYS),
)
MADE = st.builds(
    Job,
    st.lists(st.sampled_from(TYPED), max_size=3).map(tuple),
    st.booleans(),
    st.sampled_from(DAYS),
    st.lists(STARTED, max_size=4).map(tuple),
)
WANTED = st.builds(
    Wanted,
    text=st.lists(st.sampled_from((*TYPED, "eck", "70", "none such")), max_size=2).map(" ".join),
    archived=st.booleans(),
    most=st.sampled_from((1, 2, 50)),
    verdict=st.sampled_from(("", "", *VERDICTS)),
    first_day=st.sampled_from(("", "", "2024-05-31", "2024-06", "2025")),
    last_day=st.sampled_from(("", "", "2025-01-01", "2026")),
)


def fill(store: Store, jobs: list[Job]) -> None:
    """These jobs and none else; times at noon, so that every clock's local day is the one written."""
    with store.engine.begin() as connection:
        connection.execute(delete(STARTS))
        connection.execute(delete(JOBS))
        for number, job in enumerate(jobs):
            row = {
                "number": f"n{number}",
                "created_utc": f"{job.day}T12:00:00+00:00",
                "archived": job.archived,
                "search_text": search_text(job.texts),
            }
            job_id = connection.execute(insert(JOBS).values(row).returning(JOBS.c.id)).scalar_one()
            for start in job.starts:
                when = f"{start.day}T12:00:00+00:00"
                filled = {"job_id": job_id, "filed_utc": when, "when_utc": when, "content_hash": "0", "size_bytes": 1}
                filled |= {"file_name": "x", "limits_json": "{}", "judgement_json": "{}", "synthetic": start.synthetic}
                filled |= {"verdict": start.verdict, "feed_verdict": start.feed_verdict, "state": start.state}
                connection.execute(insert(STARTS).values(filled))


def expected(jobs: list[Job], wanted: Wanted) -> list[tuple[object, ...]]:
    """What the list's docstrings say of these jobs."""
    begin, end = day_range(wanted.first_day, wanted.last_day)
    inside = {day for day in DAYS if begin <= f"{day}T12:00:00+00:00" and (not end or f"{day}T12:00:00+00:00" < end)}
    lines: list[tuple[object, ...]] = []
    for number, job in reversed(list(enumerate(jobs))):
        counted = [start for start in job.starts if start.state not in ("not valid", "withdrawn")]
        real = [start for start in counted if not start.synthetic]
        searched = search_text(job.texts)
        ways = [ways_of(word) for word in wanted.text.split()]
        if (
            (job.archived and not wanted.archived)
            or not all(any(way in searched for way in each) for each in ways if each)
            or (wanted.verdict and wanted.verdict not in {start.verdict for start in real})
            or not ({job.day, *(start.day for start in job.starts)} & inside)
        ):
            continue
        last = next(reversed(real or counted), None)
        of_last = (last.verdict, last.feed_verdict, last.synthetic) if last else ("", None, False)
        lines.append((f"n{number}", job.archived, len(counted), *of_last))
    return lines[: wanted.most]


def shown(lines: list[JobSummary]) -> list[tuple[object, ...]]:
    return [
        (n.job["number"], n.job["archived"], n.start_count, n.last_verdict, n.last_feed_verdict, n.simulated) for n in lines
    ]


def test_each_list_is_what_a_plain_model_says(place: str) -> None:
    with open_store(place, scratch=True) as store:

        @settings(suppress_health_check=list(HealthCheck), deadline=None)
        @given(st.lists(MADE, max_size=5), st.lists(WANTED, min_size=1, max_size=6))
        def check(jobs: list[Job], choices: list[Wanted]) -> None:
            fill(store, jobs)
            for wanted in choices:
                lines = list_jobs(store, wanted)
                assert shown(lines) == expected(jobs, wanted), wanted
                assert all(type(line.job["archived"]) is bool and type(line.simulated) is bool for line in lines)
                if store.place.file is not None:
                    assert quick_list(place, wanted) == lines
                found = [str(row["number"]) for row in every_job(store, wanted.text)]
                every = expected(jobs, Wanted(wanted.text, archived=True, most=1000))
                assert found == [line[0] for line in every]

        check()


def test_an_impossible_day_is_an_error_the_quick_way_too(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no day"):
        quick_list(str(tmp_path / "none.sqlite"), Wanted(first_day="yesterday"))


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A store of one job, closed."""
    path = tmp_path / "shop.sqlite"
    with open_store(str(path)) as store:
        create_job(store, "1207")
    return path


def numbers(path: Path | str) -> list[str] | None:
    lines = quick_list(str(path), Wanted())
    return None if lines is None else [line.job["number"] for line in lines]


def test_the_quick_way_reads_a_usual_file_and_leaves_nothing_beside_it(shop: Path) -> None:
    before = sorted(path.name for path in shop.parent.iterdir())
    content = shop.read_bytes()
    assert numbers(shop) == numbers(f"sqlite:///{shop}") == ["1207"]
    assert sorted(path.name for path in shop.parent.iterdir()) == before
    assert shop.read_bytes() == content


@pytest.mark.parametrize("name", ["what? #1 100%.sqlite", "größer.sqlite", "a b.sqlite", "latin-1 \udce4.sqlite"])
def test_a_name_may_hold_any_sign(shop: Path, name: str) -> None:
    named = shop.with_name(name)
    shutil.move(shop, named)
    assert numbers(named) == ["1207"]


def test_it_sees_what_another_program_has_just_written_and_not_what_it_is_writing(shop: Path) -> None:
    with open_store(str(shop)) as store:
        create_job(store, "1208")
        with store.engine.begin() as connection:
            connection.execute(insert(JOBS).values(number="1209", created_utc="2026-01-01T00:00:00+00:00"))
            assert numbers(shop) == ["1208", "1207"]
        assert numbers(shop) == ["1209", "1208", "1207"]


def test_a_file_that_is_not_as_usual_is_left_to_open_store(shop: Path) -> None:
    assert numbers(shop.with_name("none.sqlite")) is None
    assert numbers(shop.parent) is None
    assert numbers("postgresql://nobody@localhost/none") is None
    other = shop.with_name("other.sqlite")
    other.write_bytes(b"")
    assert numbers(other) is None, "an empty file"
    other.write_bytes(b"no database at all, but long enough to be read as one" * 40)
    assert numbers(other) is None, "no database"
    shutil.copyfile(shop, other)
    with sqlite3.connect(other) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
    connection.close()
    assert numbers(other) is None, "tables of an earlier version"


def test_a_file_that_another_holds_is_left_to_open_store(shop: Path) -> None:
    holder = sqlite3.connect(shop)
    holder.execute("PRAGMA locking_mode = EXCLUSIVE")
    holder.execute("BEGIN EXCLUSIVE")
    try:
        assert numbers(shop) is None
    finally:
        holder.close()
    assert numbers(shop) == ["1207"]


def test_a_file_on_a_network_share_is_left_to_open_store(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("firstcrank.jobs.quick_list.warning", lambda file: "lies on a share")
    assert numbers(shop) is None


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="needs a user whom rights bind")
def test_a_file_that_may_not_be_read_is_left_to_open_store(shop: Path) -> None:
    shop.chmod(0)
    assert numbers(shop) is None
