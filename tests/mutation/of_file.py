"""python -m tests.mutation.of_file key.py tests/parts/test_key.py: every mutant of one file of the judge against some tests alone.

For writing those tests: it is quick, keeps nothing, and lists what was not noticed. `--every N` takes each Nth mutant.
"""

from __future__ import annotations

import argparse
import os

from .kill_set import collect
from .runner import STORE, finish, fork, run, table
from .sites import PACKAGE, ROOT, sites_of


def main() -> None:
    """Runs them."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation.of_file", description=__doc__)
    parser.add_argument("file", help="path below host/firstcrank/analysis")
    parser.add_argument("tests", nargs="+", help="test files or folders")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--function", default="", help="only functions with this in their name")
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    os.chdir(ROOT)
    STORE.mkdir(exist_ok=True)
    kills = collect(False, tuple(args.tests))
    alone = finish(*fork(None, kills, 600))["failed"]
    if alone:
        raise SystemExit(f"fail in the runner by themselves (classes of the judge among the parameters?): {', '.join(alone)}")
    sites = [site for site in sites_of(PACKAGE / args.file) if args.function in site.function][:: args.every]
    path = STORE / f"of_file_{os.getpid()}.jsonl"
    done: dict[str, dict[str, object]] = {}
    run(sites, kills, {site.key: kills for site in sites}, {}, done, path, args.jobs, 20.0)
    path.unlink()
    table([(site, done[site.key]) for site in sites], len(sites), len(sites))


if __name__ == "__main__":
    main()
