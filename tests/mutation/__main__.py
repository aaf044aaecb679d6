"""python -m tests.mutation --sample 600 --seed 1 --jobs 2: mutants of the judge, killed or survived, one line each.

Resumable: outcomes are kept in .mutation/ and a mutant whose file has not changed is not run again.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import select
import sys
import warnings
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import asdict
from io import StringIO
from pathlib import Path
from typing import Any
from zlib import crc32

from . import child, memo
from .kill_set import FIRST, Kill, collect
from .sites import ROOT, Site, all_sites, sample

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


def notice(sites: list[Site], kills: list[Kill]) -> dict[str, list[Kill]]:
    """For every site, the tests in which the mutant's value once differs from the right one."""
    read, write = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read)
        child.watch(sites, kills, write)
    os.close(write)
    found = finish(pid, read)
    if "noticed" not in found:
        raise SystemExit("the tests could not be watched: the instrumented judge does not run")
    alone = sum(tests is None for tests in found["noticed"])
    print(
        f"watched: {len(sites) - alone} of {len(sites)} sites; {sum(t == [] for t in found['noticed'])} make no difference in any test"
    )
    if found["failed"]:
        print("  fail while watched, so they count for all: " + "; ".join(found["failed"]))
    sys.stdout.flush()
    return {
        site.key: kills if tests is None else [kills[n] for n in tests]
        for site, tests in zip(sites, found["noticed"], strict=True)
    }


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


def main() -> None:
    """Runs the sample."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("--sample", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--again", action="store_true", help="run survivors again (new tests may kill them)")
    parser.add_argument("--fresh", action="store_true", help="time the tests anew: after changing them")
    parser.add_argument(
        "--budget", type=float, default=0.0, help="at most so many s of processor time a mutant: 'unfinished' beyond"
    )
    parser.add_argument("--late", action="store_true", help="with the properties too, which take long")
    parser.add_argument("--list", action="store_true", help="print the outcomes that are there and run nothing")
    args = parser.parse_args()
    os.chdir(ROOT)
    STORE.mkdir(exist_ok=True)
    path = STORE / "outcomes.jsonl"
    chosen = sample(args.sample, args.seed)
    done = _read(path)
    if args.list:
        _table([(s, done[s.key]) for s in chosen if s.key in done], len(all_sites()), len(chosen))
        return
    todo = [s for s in chosen if s.key not in done or (args.again and done[s.key]["outcome"] != "killed")]
    print(f"{len(all_sites())} sites, {len(chosen)} chosen, {len(todo)} to run", flush=True)
    memo.install()
    kills = collect(args.late)
    if args.late:
        _warm()
    _once(kills)
    gc.collect()
    gc.freeze()  # children share these pages
    first = baseline(kills, args.fresh)
    kills = [k for k in kills if k.name not in first["failed"]]
    print(f"{len(kills)} tests, {sum(first['times'].values()):.0f} s of processor time; left out, as they fail by themselves:")
    print("  " + ", ".join(first["failed"]), flush=True)
    noticed = notice(todo, kills)
    _run(todo, kills, noticed, first["times"], done, path, args)
    _table([(s, done[s.key]) for s in chosen if s.key in done], len(all_sites()), len(chosen))


def _once(kills: list[Kill]) -> None:
    """Every test once in the parent, for the simulated starts that it makes; what fails is left out by the baseline."""
    with redirect_stdout(StringIO()), redirect_stderr(StringIO()), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for kill in kills:
            with suppress(Exception):
                kill.call()


def _warm() -> None:
    """What every child can inherit: the starts."""
    from tests.properties.starts import known

    known()


def _read(path: Path) -> dict[str, dict[str, Any]]:
    if not path.exists():
        return {}
    rows = (json.loads(line) for line in path.read_text("utf-8").splitlines())
    return {row["key"]: row for row in rows}


def _run(
    todo: list[Site],
    kills: list[Kill],
    noticed: dict[str, list[Kill]],
    times: dict[str, float],
    done: dict[str, dict[str, Any]],
    path: Path,
    args: argparse.Namespace,
) -> None:
    killers: dict[str, Counter[str]] = {}
    for row in done.values():
        _learn(killers, row)
    cpu_s = int(60 + 3 * sum(times.values()))
    running: dict[int, tuple[int, Site]] = {}
    waiting = list(reversed(todo))
    with path.open("a", encoding="utf-8") as out:
        while waiting or running:
            while waiting and len(running) < args.jobs:
                site = waiting.pop()
                pid, pipe = fork(site, ordered(noticed[site.key], times, killers, site), cpu_s, args.budget)
                running[pipe] = (pid, site)
            ready, _, _ = select.select(list(running), [], [])
            for pipe in ready:
                pid, site = running.pop(pipe)
                row = {"key": site.key, **asdict(site), **finish(pid, pipe)}
                done[site.key] = row
                _learn(killers, row)
                out.write(json.dumps(row) + "\n")
                out.flush()
                by = f"  by {row['by']}" if row["outcome"] == "killed" else ""
                print(f"{row['outcome']:8} {site.file}:{site.line} {site.function}: {site.what}{by}", flush=True)


def _learn(killers: dict[str, Counter[str]], row: dict[str, Any]) -> None:
    if row["outcome"] == "killed" and "::" in row["by"]:
        for key in (row["file"] + row["function"], row["file"], ""):
            killers.setdefault(key, Counter())[row["by"]] += 1


def _table(rows: list[tuple[Site, dict[str, Any]]], sites: int, chosen: int) -> None:
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


if __name__ == "__main__":
    main()
