"""A fault beside a feed that passes, through every place a person meets it: exit code, screen, record, search, export, page."""

from __future__ import annotations

import functools
import json
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest
from sqlalchemy import ColumnClause, insert, select, text, update

from firstcrank.cli.main import main
from firstcrank.jobs import backup, records
from firstcrank.jobs.export import export_store
from firstcrank.jobs.filing import attach
from firstcrank.jobs.listing import list_jobs
from firstcrank.jobs.migrating import migrate
from firstcrank.jobs.migrations.versions.v0003_feed_verdict import feed_verdict_kept
from firstcrank.jobs.restore import restore
from firstcrank.jobs.schema import STARTS
from firstcrank.jobs.store import open_store
from firstcrank.jobs.trends import trends
from firstcrank.report import html, pdf
from firstcrank.report.gather import from_store
from firstcrank.report.trend_plots import as_lines

from .sim_recording import make, recorded

LEADS = ("battery", "key_switch", "heater_coil", "heater_return", "starter_coil")
NEVER = ("PASS\n", "<strong>PASS</strong>")


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(list(args))
    return int(left.value.code or 0)


@functools.cache
def content() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "start.fcr"
        make("heater_reversed", path, leads=LEADS)
        return path.read_bytes()


@pytest.fixture
def fault(tmp_path: Path) -> Path:
    path = tmp_path / "fault.fcr"
    path.write_bytes(content())
    return path


@pytest.fixture
def place(tmp_path: Path, fault: Path) -> str:
    """A store with one such start."""
    name = str(tmp_path / "shop.sqlite")
    with open_store(name) as store:
        records.create_job(store, "1207")
        attach(store, "1207", fault)
        with store.engine.begin() as connection:  # a simulated start counts for no vehicle: take it for a real one here
            connection.execute(update(STARTS).values(synthetic=False))
    return name


def test_record_and_judge_end_with_the_overall_verdict(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "start.fcr"
    leads = [word for n, role in enumerate(LEADS) for word in ("--lead", f"{role}={26 + n}")]
    options = ["--out", str(path), "--yes", "--key-start", "--module-plugged", *leads]
    assert run("record", "--port", "sim:heater_reversed,seed=3", *options) == 1
    lines = capsys.readouterr().out.strip().splitlines()
    kept = next(n for n, line in enumerate(lines) if line.startswith("Kept as"))
    assert lines[kept - 1] == "Key feed: PASS  OTHER FAULT FOUND: DO NOT CRANK AGAIN"
    assert run("judge", str(path)) == 1
    assert "Key feed: PASS  OTHER FAULT FOUND: DO NOT CRANK AGAIN" in capsys.readouterr().out.splitlines()[-6:]


def test_it_is_filed_and_listed_with_both_verdicts(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    with open_store(place) as store:
        (start,) = records.job_detail(store, "1207").starts
        assert (start["verdict"], start["feed_verdict"]) == ("FAIL", "PASS")
        assert start["reason"].startswith("other fault found: intake heater solenoid is wired the wrong way round")
        assert start["cause"] == "heater_reversed"
        (line,) = list_jobs(store)
        assert (line.last_verdict, line.last_feed_verdict) == ("FAIL", "PASS")
        found = trends(store, synthetic=True)
        assert (found.verdicts, found.feed_verdicts, found.causes) == ({"FAIL": 1}, {"PASS": 1}, {"heater_reversed": 1})
        assert as_lines(found)[:2] == ["1 starts: 1 FAIL", "  of these the key feed alone: 1 PASS"]
    for item in (("list",), ("show", "1207"), ("list", "--verdict", "fail"), ("list", "FAIL")):
        assert run("jobs", *item, "--store", place) == 0
        assert "FAIL (feed PASS)" in capsys.readouterr().out, item
    for item in (("list", "--verdict", "PASS"), ("list", "PASS")):
        assert run("jobs", *item, "--store", place) == 0
        assert "No job found." in capsys.readouterr().out, item


def test_the_export_has_both_columns(place: str, tmp_path: Path) -> None:
    import pyarrow.parquet as pq

    with open_store(place) as store:
        assert export_store(store, tmp_path / "out") == []
    table = pq.read_table(tmp_path / "out" / "starts.parquet").to_pydict()
    assert (table["verdict"], table["feed_verdict"]) == (["FAIL"], ["PASS"])


def test_a_store_of_before_gets_the_feeds_verdict_out_of_what_it_kept(tmp_path: Path, place: str) -> None:
    """Schema 1 kept the feed's verdict as its only one; a judgement that can't be read leaves the column empty."""
    with open_store(place) as store, store.engine.connect() as connection:
        row = dict(connection.execute(select(STARTS)).mappings().one())
    of_before = {"verdict": "NO VERDICT", "reasons": []}
    kept = {"new": row["judgement_json"], "old": json.dumps(of_before), "torn": '{"verdict": ', "odd": '{"verdict": "GOOD"}'}
    from sqlalchemy import create_engine

    old = tmp_path / "old.sqlite"
    engine = create_engine(f"sqlite:///{old}")
    migrate(engine, "0002")
    later = ("id", "feed_verdict", "uuid", "when_utc", "state", "reading_json", "crank_v", "system_v")
    columns = {k: v for k, v in row.items() if k not in later}
    with engine.begin() as connection:
        connection.execute(text("INSERT INTO jobs (number, created_utc) VALUES ('1', '2026-01-01')"))
        old_starts = [{**columns, "job_id": 1, "file_name": name, "judgement_json": found} for name, found in kept.items()]
        from sqlalchemy import column, table

        names: list[ColumnClause[object]] = [column(name) for name in old_starts[0]]
        connection.execute(insert(table("starts", *names)), old_starts * 300)  # more than one batch
    engine.dispose()
    with open_store(str(old)) as store:
        starts = records.job_detail(store, "1").starts
    assert len(starts) == 1200
    assert {(s["file_name"], s["feed_verdict"]) for s in starts} == {
        ("new", "PASS"),
        ("old", "NO VERDICT"),
        ("torn", None),
        ("odd", None),
    }
    assert {s["verdict"] for s in starts} == {"FAIL"}  # as it was filed
    assert feed_verdict_kept("[]") is None


def test_a_start_whose_feed_verdict_was_not_kept_is_listed_all_the_same(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    with open_store(place) as store, store.engine.begin() as connection:
        connection.execute(update(STARTS).values(feed_verdict=None))
    assert run("jobs", "list", "--store", place) == 0
    output = capsys.readouterr().out
    assert "FAIL" in output
    assert "(feed" not in output
    with open_store(place) as store:
        assert trends(store, synthetic=True).feed_verdicts == {"not kept": 1}


def test_a_backup_keeps_both(place: str, tmp_path: Path) -> None:
    with open_store(place) as store:
        backup.back_up(store, tmp_path / "b.zip")
    with open_store(str(tmp_path / "again.sqlite")) as store:
        restore(store, tmp_path / "b.zip")
        (start,) = records.job_detail(store, "1207").starts
        assert (start["verdict"], start["feed_verdict"]) == ("FAIL", "PASS")


def test_the_page_says_the_fault_first_and_never_pass_in_large(place: str) -> None:
    with open_store(place) as store:
        inputs = from_store(store, "1")
    page = html.render(inputs)
    order = [
        '<div class="verdict fail">',
        "<strong>FAIL</strong>",
        "<strong>Other fault found: do not crank again</strong>",
        "Key feed: PASS",
        "Another fault was found in this start. It must be put right before the engine is cranked again.",
        "<h2>Other fault found</h2>",
        "wired the wrong way round",
        "Do not crank again before it is put right",
        "<h2>Key feed</h2>",
        "<h2>What to check next</h2>",
        "<h2>Likely cause</h2>",
    ]
    places = [page.index(text) for text in order]
    assert places == sorted(places)
    assert not any(text in page for text in NEVER)
    assert "Tested: heater polarity" in page
    assert inputs.plain.index("Another fault") < inputs.plain.index("kept its voltage")
    assert pdf.render(inputs).startswith(b"%PDF")


def test_the_paper_says_the_same(place: str, tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here (Debian package poppler-utils)")
    with open_store(place) as store:
        (tmp_path / "r.pdf").write_bytes(pdf.render(from_store(store, "1")))
    text = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "r.pdf"), "-"], capture_output=True, text=True, check=True
    ).stdout
    order = ["Whole vehicle: FAIL", "Other fault found: do not crank again", "Key feed: PASS", "wrong way round"]
    places = [text.index(item) for item in order]
    assert places == sorted(places)
    assert text.partition("Annex: how")[0].count("\f") <= 2


def test_a_report_of_a_recording_outside_the_record(fault: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the command, with no job and no store: page, paper and picture."""
    for name, data in (("fault", None), ("good", recorded("healthy"))):
        path = fault if data is None else tmp_path / "good.fcr"
        if data is not None:
            path.write_bytes(data)
        target = tmp_path / name
        made = [f"{target}.{kind}" for kind in ("html", "pdf", "png")]
        assert run("report", str(path), "--html", made[0], "--pdf", made[1], "--png", made[2]) == 0, capsys.readouterr().err
        assert all(Path(file).stat().st_size > 1000 for file in made)
        title = re.search(r"<title>(.*?)</title>", Path(made[0]).read_text("utf-8"))
        assert title is not None
        assert title[1] == "First-start record"
