"""python -m tests.mutation.by_corpus --sample 600 --seed 1: mutants against the starts of tests/characterization alone, first and fast.

Outcomes stand where `python -m tests.mutation` keeps its own, which then runs what survived (`--again --without characterization`)
against all other tests. Starts and what is said of them are kept in .mutation/starts; the judge's source names their folder.
"""

from __future__ import annotations

import argparse
import gc
import os
import pickle
from concurrent.futures import ProcessPoolExecutor
from hashlib import sha256
from pathlib import Path

from tests.characterization.corpus import made, names
from tests.characterization.reduced import differences, found_in

from .kill_set import Kill
from .runner import STORE, notice, read, run, table
from .sites import ROOT, all_sites, sample

TEST = "tests/characterization/test_characterization.py::test_the_judge_finds_what_it_found"


def keep(name: str, folder: Path) -> str:
    """Makes a start and writes it beside what is said of it; "" for a file that is refused."""
    path = folder / f"{name.replace(':', '_')}.pkl"
    if not path.exists():
        start = made(name)
        if start is None:
            return ""
        path.write_bytes(pickle.dumps((start, found_in(start))))
    return name


def as_kill(name: str, folder: Path) -> Kill:
    """One start as a test."""
    path = folder / f"{name.replace(':', '_')}.pkl"

    def call() -> None:
        start, before = pickle.loads(path.read_bytes())
        assert not differences(before, found_in(start))

    return Kill(f"{TEST}[{name}]", call)


def _folder() -> Path:
    """One for every state of the judge and of the corpus."""
    texts = [
        *sorted((ROOT / "host/firstcrank/analysis").rglob("*.py")),
        *sorted((ROOT / "host/firstcrank/thresholds").glob("*.py")),
        *sorted((ROOT / "tests/characterization").glob("*.py")),
    ]
    folder = STORE / "starts" / sha256(b"".join(path.read_bytes() for path in texts)).hexdigest()[:12]
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def main() -> None:
    """Runs the sample."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation.by_corpus", description=__doc__)
    parser.add_argument("--sample", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--budget", type=float, default=60.0, help="s of processor time for a mutant")
    parser.add_argument("--again", action="store_true", help="run survivors again")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    os.chdir(ROOT)
    folder = _folder()
    with ProcessPoolExecutor(args.jobs) as pool:
        kept = pool.map(keep, names(), [folder] * len(names()), chunksize=4)
        kills = [as_kill(name, folder) for name in kept if name]
    print(f"{len(kills)} starts", flush=True)
    path = STORE / "outcomes.jsonl"
    done = read(path)
    chosen = sample(args.sample, args.seed)
    todo = [s for s in chosen if s.key not in done or (args.again and done[s.key]["outcome"] != "killed")]
    gc.collect()
    gc.freeze()
    noticed = notice(todo, kills, args.jobs)
    run(todo, kills, noticed, {}, done, path, args.jobs, args.budget)
    table([(s, done[s.key]) for s in chosen], len(all_sites()), len(chosen))


if __name__ == "__main__":
    main()
