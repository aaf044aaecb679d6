"""Programs killed at random moments while they file, sync and back up: what was told is there once, and no backup is half there."""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from firstcrank.analysis.verdict import judge
from firstcrank.jobs import records
from firstcrank.jobs.backup import back_up
from firstcrank.jobs.keeping import file_or_keep
from firstcrank.jobs.outbox import waiting
from firstcrank.jobs.proof import prove
from firstcrank.jobs.sending import send
from firstcrank.jobs.store import open_store
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import read_native

JOB = "1207"
STARTS_IN_TIME = 4  # the latest kill comes when so many starts could have been filed
BACKUPS_IN_TIME = 3.0


def killed(work: Callable[[Callable[[str], None]], None], after_s: float) -> Iterator[str]:
    """The lines that a forked program said before it was killed."""
    reading, writing = os.pipe()

    def say(line: str) -> None:
        os.write(writing, f"{line}\n".encode())

    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            work(say)
        finally:
            os._exit(0)
    os.close(writing)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(reading, encoding="utf-8") as output:
        yield from (line.rstrip("\n") for line in output)


def spread(number: int, times: int, chance: random.Random) -> float:
    """A share of the longest time, one in each of `times` equal parts: few kills come early and late as well."""
    return (number + chance.random()) / times


def kill_filing(place: str, start: Path, times: int, seed: int = 7) -> tuple[int, int]:
    """Kills programs that file starts and sync their outbox; then sends what waits. How many were told as filed, how many are there.

    Asserts that each that was told is there once and whole, and of those that were only begun at most one each.
    """
    chance = random.Random(seed)
    recording = read_native(start)
    judgement = judge(recording.trace, shipped(12), recording.context)
    began = time.perf_counter()
    first = start.with_name("first.fcr")
    shutil.copy(start, first)
    file_or_keep(first, judgement, JOB, place)
    longest_s = STARTS_IN_TIME * (time.perf_counter() - began)
    report, begun = {first.name}, {first.name}
    for round_number in range(times):

        def work(say: Callable[[str], None], number: int = round_number) -> None:
            for n in range(10_000):
                own = start.with_name(f"r{number}-{n}.fcr")
                shutil.copy(start, own)
                say(f"begun {own.name}")
                file_or_keep(own, judgement, JOB, place)
                say(f"told {own.name}")

        for line in killed(work, longest_s * spread(round_number, times, chance)):
            word, _, name = line.partition(" ")
            {"begun": begun, "told": report}[word].add(name)
    with open_store(place) as store:
        trouble = send(store).trouble
        assert trouble == (), trouble
        starts = records.job_detail(store, JOB).starts
        names = [row["file_name"] for row in starts]
        assert len(names) == len(set(names)), "filed twice"
        assert report <= set(names), "lost"
        assert set(names) <= begun
        assert len(report) > 1, "every program was killed before it had filed anything"
        assert {store.contents.state(row["content_hash"]) for row in starts} <= {"whole"}
    assert waiting() == ((), ())
    return len(report), len(names)


def kill_backups(place: str, folder: Path, times: int, seed: int = 8) -> tuple[int, int]:
    """Kills programs that back the store up. How many backups were there afterwards, and how many of the kills left none.

    Asserts that each that has its name is proved by restoring it, and that each that was told is there.
    """
    chance = random.Random(seed)
    began = time.perf_counter()
    with open_store(place) as store:
        back_up(store, folder / "first.zip")
    longest_s = BACKUPS_IN_TIME * (time.perf_counter() - began)
    there = 0
    for number in range(times):
        target = folder / f"killed-{number}.zip"

        def work(say: Callable[[str], None], target: Path = target) -> None:
            with open_store(place) as store:
                back_up(store, target)
            say("told")
            time.sleep(60)

        report = list(killed(work, longest_s * spread(number, times, chance)))
        assert target.exists() or not report, "told and not there"
        if target.exists():
            prove(target)
            there += 1
    return there, times - there
