"""Runs mutants: each in a forked process against the tests that can notice it, the likeliest killers first."""

from __future__ import annotations

import json
import os
import select
import sys
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import Any
from zlib import crc32

from . import child
from .kill_set import FIRST, Kill
from .sites import ROOT, Site

STORE = ROOT / ".mutation"


def fork(site: Site | None, kills: list[Kill], cpu_s: int, budget_s: float = 0.0) -> tuple[int, int]:
    """(process, pipe) of a child that runs the tests."""
    read, write = os.pipe()
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        os.close(read)
        child.run(site, kills, cpu_s, budget_s, write)
    os.close(write)
    return pid, read


def finish(pid: int, pipe: int) -> dict[str, Any]:
    """The child's outcome; a child that died without one was stopped by its time."""
    data = b""
    while chunk := os.read(pipe, 1 << 16):
        data += chunk
    os.close(pipe)
    _, status = os.waitpid(pid, 0)
    if not data:
        return {"outcome": "killed", "by": "time", "why": f"status {status}", "cpu_s": 0.0}
    return dict(json.loads(data))


def baseline(kills: list[Kill], fresh: bool) -> dict[str, Any]:
    """Times of every test without a mutation, and those that fail by themselves (left out). Kept in .mutation/."""
    path = STORE / "baseline.json"
    if path.exists() and not fresh:
        return dict(json.loads(path.read_text("utf-8")))
    first = finish(*fork(None, kills, 3600))
    path.write_text(json.dumps(first), "utf-8")
    return first


def notice(sites: list[Site], kills: list[Kill], jobs: int = 1) -> dict[str, list[Kill]]:
    """For every site, the tests in which the mutant's value once differs from the right one."""
    children = [_watching(sites, kills[n::jobs]) for n in range(jobs)]
    seen: list[list[Kill] | None] = [[] for _ in sites]
    for n, child_of in enumerate(children):
        found = finish(*child_of)
        if "noticed" not in found:
            raise SystemExit("the tests could not be watched: the instrumented judge does not run")
        mine = kills[n::jobs]
        for i, tests in enumerate(found["noticed"]):
            so_far = seen[i]
            seen[i] = None if tests is None or so_far is None else so_far + [mine[t] for t in tests]
        if found["failed"]:
            print("  fail while watched, so they count for all: " + "; ".join(found["failed"]))
    alone = sum(tests is None for tests in seen)
    none = sum(tests == [] for tests in seen)
    print(f"watched: {len(sites) - alone} of {len(sites)} sites; {none} make no difference in any test", flush=True)
    return {site.key: kills if tests is None else tests for site, tests in zip(sites, seen, strict=True)}


def _watching(sites: list[Site], kills: list[Kill]) -> tuple[int, int]:
    read, write = os.pipe()
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        os.close(read)
        child.watch(sites, kills, write)
    os.close(write)
    return pid, read


def ordered(kills: list[Kill], times: dict[str, float], killers: dict[str, Counter[str]], site: Site) -> list[Kill]:
    """Those that killed in this function first, then in this file, then by the hints, then a spread of all."""
    by_function, by_file, by_all = (killers.get(k, Counter()) for k in (site.file + site.function, site.file, ""))
    first = [n for counter, most in ((by_function, 8), (by_file, 16), (by_all, 6)) for n, _ in counter.most_common(most)]
    place = {name: i for i, name in reversed(list(enumerate(first)))}
    hints = [hint for part in Path(site.file).with_suffix("").parts for hint in FIRST.get(part, ())]

    def rank(kill: Kill) -> tuple[float, ...]:
        hinted = min((i for i, hint in enumerate(hints) if hint in kill.name), default=len(hints))
        elsewhere = "characterization" not in kill.name
        return (place.get(kill.name, len(first)), elsewhere, hinted, times.get(kill.name, 0.0) > 0.5, crc32(kill.name.encode()))

    return sorted(kills, key=rank)


def run(
    todo: list[Site],
    kills: list[Kill],
    noticed: dict[str, list[Kill]],
    times: dict[str, float],
    done: dict[str, dict[str, Any]],
    path: Path,
    jobs: int,
    budget_s: float,
) -> None:
    """Runs them `jobs` at a time and writes each outcome as a line at the end of `path`, and into `done`."""
    killers: dict[str, Counter[str]] = {}
    for row in done.values():
        learn(killers, row)
    cpu_s = int(60 + 3 * sum(times.values()) + 2 * budget_s)  # the limit stops what hangs, and never a budget's work
    running: dict[int, tuple[int, Site]] = {}
    waiting = list(reversed(todo))
    with path.open("a", encoding="utf-8") as out:
        while waiting or running:
            while waiting and len(running) < jobs:
                site = waiting.pop()
                pid, pipe = fork(site, ordered(noticed[site.key], times, killers, site), cpu_s, budget_s)
                running[pipe] = (pid, site)
            ready, _, _ = select.select(list(running), [], [])
            for pipe in ready:
                pid, site = running.pop(pipe)
                row = {"key": site.key, **asdict(site), **finish(pid, pipe)}
                done[site.key] = row
                learn(killers, row)
                out.write(json.dumps(row) + "\n")
                out.flush()
                by = f"  by {row['by']}" if row["outcome"] == "killed" else ""
                print(f"{row['outcome']:8} {site.file}:{site.line} {site.function}: {site.what}{by}", flush=True)


def read(path: Path) -> dict[str, dict[str, Any]]:
    """Outcomes by the site's key."""
    if not path.exists():
        return {}
    rows = (json.loads(line) for line in path.read_text("utf-8").splitlines())
    return {row["key"]: row for row in rows}


def learn(killers: dict[str, Counter[str]], row: dict[str, Any]) -> None:
    """Counts who kills where."""
    if row["outcome"] == "killed" and "::" in row["by"]:
        for key in (row["file"] + row["function"], row["file"], ""):
            killers.setdefault(key, Counter())[row["by"]] += 1


def table(rows: list[tuple[Site, dict[str, Any]]], sites: int, chosen: int) -> None:
    """Prints counts and what was not killed."""
    counts = Counter(row["outcome"] for _, row in rows)
    print(
        f"\n{sites} sites, {chosen} chosen, {len(rows)} run: {counts['killed']} killed, {counts['survived']} survived, "
        f"{counts['unfinished']} stopped by --budget"
    )
    for site, row in sorted(rows, key=lambda r: (r[0].file, r[0].line)):
        if row["outcome"] != "killed":
            print(f"{row['outcome']} {site.file}:{site.line} {site.function}: {site.what}")
    print(
        "by file: "
        + ", ".join(f"{f} {n}" for f, n in sorted(Counter(s.file for s, r in rows if r["outcome"] == "survived").items()))
    )
