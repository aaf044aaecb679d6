"""Prints what the program says of every simulated start, as sorted JSON lines, so that two versions can be compared by `diff`.

python -m tests.golden.compare | diff tests/golden/data/scenarios.jsonl -
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator

from firstcrank.analysis.verdict import judge
from firstcrank.cli.answers import EXIT
from firstcrank.limits import shipped
from firstcrank_sim.board.to_trace import to_trace
from firstcrank_sim.scenarios.catalogue import SCENARIOS, simulate_many

SEEDS = (1, 2, 3)


def lines(seeds: tuple[int, ...]) -> Iterator[str]:
    """One line of JSON a start, by name and seed; keys sorted. Sampled and judged with the limits shipped for its system."""
    for name in sorted(SCENARIOS):
        for truth in simulate_many([(name, seed) for seed in seeds]):
            judgement = judge(to_trace(truth), shipped(truth.system_v), truth.context)
            row = {
                "scenario": name,
                "seed": truth.seed,
                "verdict": judgement.verdict,
                "reasons": list(judgement.reasons),
                "cause": judgement.likely_causes[0].cause if judgement.likely_causes else None,
                "exit_code": EXIT[judgement.verdict],
            }
            yield json.dumps(row, ensure_ascii=False, sort_keys=True)


def main() -> None:
    """Prints the lines."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, nargs="+", default=SEEDS, help="which starts of each name")
    for line in lines(tuple(parser.parse_args().seeds)):
        print(line)


if __name__ == "__main__":
    main()
