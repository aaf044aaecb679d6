"""`python -m tests.characterization.write`: judges the corpus and prints what changed; with `--keep` it becomes what is expected.

Look at every difference before keeping it: each is a start of which the judge now finds something else.
"""

from __future__ import annotations

import argparse
import json
import lzma
import sys
from concurrent.futures import ProcessPoolExecutor

from .corpus import made, names
from .expected import DATA, expected
from .reduced import differences, found_in


def line_of(name: str) -> tuple[str, dict[str, object] | None]:
    """(name, its reduced judgement; None where the file is refused)."""
    return name, found_in(made(name))


def main() -> None:
    """Compares, and keeps where it is asked to."""
    parser = argparse.ArgumentParser(prog="python -m tests.characterization.write", description=__doc__)
    parser.add_argument("--keep", action="store_true", help="what is found now is expected from here on")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    before = expected() if DATA.exists() else {}
    lines, changed = [], 0
    with ProcessPoolExecutor(args.jobs) as pool:
        for name, now in pool.map(line_of, names(), chunksize=4):
            lines.append(json.dumps({"start": name, "judgement": now}, ensure_ascii=False, sort_keys=True))
            found = differences(before.get(name), now)
            changed += bool(found)
            for difference in found[:8]:
                print(f"{name} {difference}"[:240])
    if args.keep:
        DATA.write_bytes(lzma.compress(("\n".join(lines) + "\n").encode()))
    print(f"{len(lines)} starts, {changed} differ" + (", kept" if args.keep else ""))
    sys.exit(bool(changed and not args.keep))


if __name__ == "__main__":
    main()
