"""`python -m tests.strangers.run --starts N --seed S --jobs 2`: judges strangers' starts, prints how verdicts and truth agree.

`--family NAME` takes starts of one family only, `--each` as many of every one. `--keep FILE` adds the outcomes to a file of JSON
lines as they come, so that a long run may be cut and gone on with; `--table FILE ...` prints the table of what was kept. `--show SEED`
prints one start's truth, grade, verdict and reasons, and draws it.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import asdict
from pathlib import Path
from typing import TextIO

from tests.strangers.families import NAMES
from tests.strangers.outcome import Outcome, judge_one, outcome_of
from tests.strangers.table import table

STRIDE = 1000


def outcomes(wanted: list[tuple[int, str | None]], jobs: int) -> Iterator[Outcome]:
    """Outcomes of all (seed, family), in their order."""
    if jobs <= 1:
        yield from (outcome_of(seed, family) for seed, family in wanted)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(outcome_of, *zip(*wanted, strict=True), chunksize=8)


def each(first: int, starts: int) -> list[tuple[int, str | None]]:
    """`starts` seeds of every family, none of them in two: family n begins at first + n * STRIDE, n from 1."""
    stride = max(STRIDE, starts)
    return [(first + n * stride + k, name) for n, name in enumerate(NAMES, start=1) for k in range(starts)]


def kept(paths: list[Path]) -> list[Outcome]:
    """Outcomes of files of JSON lines; of a seed and family that stand there twice, the last."""
    found: dict[tuple[int, str], Outcome] = {}
    for path in paths:
        for line in path.read_text("utf-8").splitlines():
            table = json.loads(line)
            tuples = {name: tuple(table[name]) for name in ("lacking", "unsure", "causes")}
            o = Outcome(**{**table, **tuples, "truth": frozenset(table["truth"])})
            found[o.seed, o.family] = o
    return list(found.values())


def keep(o: Outcome, file: TextIO) -> None:
    """Adds one line."""
    file.write(json.dumps({**asdict(o), "truth": sorted(o.truth)}) + "\n")
    file.flush()


def show(seed: int, family: str | None, folder: Path) -> None:
    """Prints one start and draws it."""
    from tests.strangers.show import draw

    s, g, judgement, recorded, refused = judge_one(seed, family)
    p = s.plan
    print(f"{s.family} {seed}: {p.system_v} V, {p.record.delivery}, leads {', '.join(p.record.leads)}")
    print(
        "key      ",
        ", ".join(f"{t:.4f} {to}" for t, to in p.key),
        f" recorded {p.record.begin_s:.3f} to {p.record.end_s:.3f} s",
    )
    print("cranks   ", ", ".join(f"{c.begin_s:.3f} to {c.end_s:.3f} s (fires {c.fires_s})" for c in p.cranks))
    print("drawn    ", p.labels, p.record.tricks, p.record.answers)
    print("truth    ", g.kind, "; causes:", ", ".join(sorted(g.causes)) or "none")
    for m in g.margins[:6]:
        print(f"          {m.obligation} {m.by_u:+.1f} u: {m.what}")
    for line in (*g.lacking, *("unsure: " + x for x in g.unsure)):
        print("          " + line)
    if refused:
        print("verdict   REFUSED:", refused)
    else:
        print("verdict  ", judgement.verdict)
        feed = getattr(judgement, "feed", None)
        for reason in getattr(feed, "reasons", None) or getattr(judgement, "reasons", None) or ():
            print("          ", reason)
        for other in getattr(judgement, "other_faults", ()):
            print("          other:", other)
        print("causes   ", [getattr(c, "cause", c) for c in judgement.likely_causes])
    path = folder / f"stranger_{s.family}_{seed}.png"
    draw(s, recorded, path)
    print("picture  ", path)


def main(arguments: list[str] | None = None) -> int:
    """Runs the program; exit code 1 where a fault beyond 4 u passed."""
    parser = argparse.ArgumentParser(prog="python -m tests.strangers.run", description=__doc__)
    parser.add_argument("--starts", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--family", choices=NAMES)
    parser.add_argument("--each", action="store_true", help="--starts of every family")
    parser.add_argument("--show", type=int, metavar="SEED")
    parser.add_argument("--keep", type=Path, metavar="FILE")
    parser.add_argument("--table", type=Path, nargs="+", metavar="FILE")
    parser.add_argument("--folder", type=Path, default=Path("/tmp"), help="for the picture")
    given = parser.parse_args(arguments)
    if given.show is not None:
        show(given.show, given.family, given.folder)
        return 0
    if given.table:
        found = kept(given.table)
    else:
        one_family = [(seed, given.family) for seed in range(given.seed, given.seed + given.starts)]
        wanted = each(given.seed, given.starts) if given.each else one_family
        found = []
        with given.keep.open("a", encoding="utf-8") if given.keep else nullcontext() as file:
            for o in outcomes(wanted, given.jobs):
                found.append(o)
                if file:
                    keep(o, file)
    text, wrong = table(found)
    print(text)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
