"""Jobs handed over as folders: the very bytes that were filed, values that fit their schema, nothing half written."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import jsonschema
import pytest

from firstcrank.jobs import records
from firstcrank.jobs.contents import FolderContents
from firstcrank.jobs.store import open_store
from firstcrank.report.hand_over import folder_name, hand_over
from firstcrank.tracefiles.table import load

from .sim_recording import recorded
from .test_customer_page import PHOTO, filed
from .test_text_is_text import run


def test_a_job_is_handed_over_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place, out = filed(tmp_path), tmp_path / "out"
    assert run("jobs", "export", "--job", "1207", str(out), "--store", place) == 0
    folder = out / "1207"
    assert (folder / "start-1-original.fcr").read_bytes() == recorded("marigold_trap")
    assert (folder / "photo-2.png").read_bytes() == PHOTO
    assert (folder / "start-2.pdf").read_bytes().startswith(b"%PDF")
    assert "Before and after" in (folder / "start-2.html").read_text("utf-8")
    assert len(load(folder / "start-1.csv").trace) == len(load(folder / "start-1-original.fcr").trace)
    table = json.loads((folder / "job.json").read_text("utf-8"))
    jsonschema.validate(table, json.loads((folder / "job.schema.json").read_text("utf-8")))
    assert [s["verdict"] for s in table["starts"]] == ["FAIL", "PASS"]
    assert table["starts"][0]["judgement"]["verdict"] == "FAIL"
    assert table["starts"][0]["file"] == "start-1-original.fcr"
    assert table["notes"][0]["text"] == "asks for a discount each time"
    assert {line["action"] for line in table["changes"]} >= {"start marked", "for customer"}
    with (folder / "starts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["verdict"] for row in rows] == ["FAIL", "PASS"]
    assert list(out.iterdir()) == [folder], "nothing half written is left"
    capsys.readouterr()
    assert run("jobs", "export", "--job", "1207", str(out), "--store", place) == 2
    assert "already there" in capsys.readouterr().err


def test_jobs_of_a_search(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place, out = str(tmp_path / "s.sqlite"), tmp_path / "out"
    with open_store(place) as store:
        for number, vehicle in (("1", "green pickup"), ("../../2", "green van"), ("3", "red van")):
            records.create_job(store, number, vehicle=vehicle)
    assert run("jobs", "export", "--find", "green", str(out), "--store", place) == 0
    assert sorted(path.name for path in out.iterdir()) == ["1", "______2-2"]
    assert run("jobs", "export", "--find", "nobody", str(out), "--store", place) == 2
    assert "no job" in capsys.readouterr().err


def test_a_recording_that_is_missing_is_told_and_the_rest_is_written(tmp_path: Path) -> None:
    place = filed(tmp_path)
    with open_store(place) as store:
        start = records.job_detail(store, "1207").starts[0]
        assert isinstance(store.contents, FolderContents)
        store.contents.path(start["content_hash"]).unlink()
        trouble = hand_over(store, "1207", tmp_path / "out")
    assert len(trouble) == 2, "the start, and the report of the one compared with it"
    assert trouble[0].startswith("start 1: ")
    table = json.loads((tmp_path / "out" / "1207" / "job.json").read_text("utf-8"))
    assert [s["file"] for s in table["starts"]] == [None, "start-2-original.fcr"]


def test_names_of_folders() -> None:
    assert folder_name("W-9_9", 4) == "W-9_9"
    assert folder_name("a/b", 4) == "a_b-4"
    assert folder_name("..", 5) == "__-5"
