"""python -m tests.mutation --sample 600 --seed 1 --jobs 2: mutants of the judge, killed or survived, one line each.

Resumable: outcomes are kept in .mutation/ and a mutant whose file has not changed is not run again.
"""

from __future__ import annotations

import argparse
import gc
import os
import warnings
from contextlib import redirect_stderr, redirect_stdout, suppress
from io import StringIO

from . import memo
from .kill_set import FILES, Kill, collect
from .runner import STORE, baseline, notice, read, run, table
from .sites import ROOT, all_sites, sample


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
    parser.add_argument("--tests", nargs="+", default=FILES, help="these test files and folders alone; with --fresh")
    parser.add_argument("--without", default="", help="leave out tests with this in their name")
    parser.add_argument("--late", action="store_true", help="with the properties too, which take long")
    parser.add_argument("--list", action="store_true", help="print the outcomes that are there and run nothing")
    args = parser.parse_args()
    os.chdir(ROOT)
    STORE.mkdir(exist_ok=True)
    path = STORE / "outcomes.jsonl"
    chosen = sample(args.sample, args.seed)
    done = read(path)
    if args.list:
        table([(s, done[s.key]) for s in chosen if s.key in done], len(all_sites()), len(chosen))
        return
    todo = [s for s in chosen if s.key not in done or (args.again and done[s.key]["outcome"] != "killed")]
    print(f"{len(all_sites())} sites, {len(chosen)} chosen, {len(todo)} to run", flush=True)
    memo.install()
    kills = [kill for kill in collect(args.late, tuple(args.tests)) if not args.without or args.without not in kill.name]
    if args.late:
        _warm()
    _once(kills)
    gc.collect()
    gc.freeze()  # children share these pages
    first = baseline(kills, args.fresh)
    kills = [k for k in kills if k.name not in first["failed"]]
    print(f"{len(kills)} tests, {sum(first['times'].values()):.0f} s of processor time; left out, as they fail by themselves:")
    print("  " + ", ".join(first["failed"]), flush=True)
    noticed = notice(todo, kills, args.jobs)
    run(todo, kills, noticed, first["times"], done, path, args.jobs, args.budget)
    table([(s, done[s.key]) for s in chosen if s.key in done], len(all_sites()), len(chosen))


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


if __name__ == "__main__":
    main()
