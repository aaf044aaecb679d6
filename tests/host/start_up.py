"""How long the program takes to start, as multiples of `python -c pass`: `python -m tests.host.start_up` prints both ratios.

Least of many runs each, in turns: what else the computer does can only make a run longer.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 15
CALL = "import sys; from firstcrank.cli.main import main; main(sys.argv[1:])"
MOST_HELP, MOST_LIST = 6.0, 30.0


def took_s(*arguments: str) -> float:
    """Seconds of one run of Python with these arguments. Raises CalledProcessError where it fails."""
    begun_s = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun_s


def ratios(runs: int = RUNS) -> tuple[float, float]:
    """Ratio of `firstcrank --help`, and of `firstcrank jobs list` on a store that exists."""
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "shop.sqlite")
        took_s("-c", CALL, "jobs", "new", "1", "--store", store)  # makes it: a list of one that is not there is an error
        listing = ("-c", CALL, "jobs", "list", "--store", store)
        rows = [(took_s("-c", "pass"), took_s("-c", CALL, "--help"), took_s(*listing)) for _ in range(runs)]
    empty_s, help_s, list_s = (min(column) for column in zip(*rows, strict=True))
    return help_s / empty_s, list_s / empty_s


def main() -> int:
    """Prints the ratios; 1 where one is over its limit."""
    of_help, of_list = ratios()
    print(f"firstcrank --help: {of_help:.1f} times python -c pass (at most {MOST_HELP:g})")
    print(f"firstcrank jobs list: {of_list:.1f} times python -c pass (at most {MOST_LIST:g})")
    return int(of_help > MOST_HELP or of_list > MOST_LIST)


if __name__ == "__main__":
    sys.exit(main())
