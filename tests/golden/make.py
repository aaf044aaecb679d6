"""Makes the golden files anew: python -m tests.golden.make DATA [STEP ...], in a tree of the commit that README.md names.

Steps, in order: settings bench two alone chip csv store expected scenarios. Recordings carry their own time and a random id, so
files made again have the same content but other bytes.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path

from tests.golden import compare, make_recordings, make_store
from tests.golden.digest import digest
from tests.golden.make_recordings import firstcrank
from tests.golden.reading import recording_of

ANSWERED = {"cranked_with_key": True, "module_plugged_in": True}
PLAYED = (("dead_in_start", "FAIL"), ("healthy", "PASS"))
TYPED = ("--key-start", "--module-plugged")
OPTIONS: dict[str, dict[str, object]] = {  # what beside the file is needed to judge it; nothing for a recording of ours
    "milliseconds_mapped.csv": {"answers": ANSWERED, "map": "bench-scope"},
    **{
        name: {"answers": ANSWERED}
        for name in ("exported_two_leads.csv", "exported_feed_loose.csv", "semicolons_decimal_comma.csv", "slow_in_ms.tsv")
    },
}


def expected(data: Path, commit: str) -> None:
    """judge --json of every file, the table of verdicts, and the digest of what was read."""
    os.environ["FIRSTCRANK_MAPS"] = str(data / "settings" / "maps.toml")
    files = sorted([*data.glob("recordings/*.fcr"), *data.glob("csv/*.?sv")])
    cases = {f.name: {"file": str(f.relative_to(data)), **OPTIONS.get(f.name, {})} for f in files}
    cases["two_cranks.fcr, 12 V limits"] = {"file": "recordings/two_cranks.fcr", "limits": "limits_12v.toml"}
    cases["own_limits.fcr, 12 V limits"] = {"file": "recordings/own_limits.fcr", "limits": "limits_12v.toml"}
    table, read = {}, []
    for case, options in cases.items():
        file = data / str(options["file"])
        arguments = list(TYPED) if "answers" in options else []
        if "map" in options:
            arguments += ["--map-name", str(options["map"])]
        if "limits" in options:
            arguments += ["--limits", str(data / "settings" / str(options["limits"]))]
        done = firstcrank("judge", str(file), "--json", *arguments)
        judged = json.loads(done.stdout)
        judged["file"] = file.name
        if case == file.name:
            text = json.dumps(judged, ensure_ascii=False)
            file.with_name(file.name + ".judged.json").write_text(text + "\n", "utf-8")
            read.append(f"{json.dumps(case)}: {json.dumps(digest(recording_of(data, options)), ensure_ascii=False)}")
        causes = [c["cause"] for c in judged["likely_causes"]]
        table[case] = {
            **options,
            "verdict": judged["verdict"],
            "reasons": judged["reasons"],
            "cause": causes[0] if causes else None,
            "exit_code": done.returncode,
        }
        print(case, "|", judged["verdict"], causes[:1], judged["reasons"][:1])
    text = json.dumps({"commit": commit, "files": table}, indent=1, ensure_ascii=False)
    (data / "expected.json").write_text(text + "\n", "utf-8")
    (data / "digests.json").write_text("{\n" + ",\n".join(read) + "\n}\n", "utf-8")


def main(data: Path, steps: list[str]) -> None:
    """Runs the steps named, all if none is."""
    recordings, csv, own, store = (data / name for name in ("recordings", "csv", "settings", "store"))
    for folder in (recordings, csv, own, store):
        folder.mkdir(parents=True, exist_ok=True)

    def alone() -> None:
        for played in PLAYED:
            make_recordings.alone(recordings, *played)

    def scenarios() -> None:
        text = "".join(line + "\n" for line in compare.lines(compare.SEEDS))
        (data / "scenarios.jsonl").write_text(text, "utf-8")

    todo: dict[str, Callable[[], None]] = {
        "settings": lambda: make_recordings.settings(own),
        "bench": lambda: make_recordings.sim_boards(recordings, own),
        "two": lambda: make_recordings.two_cranks(recordings, own),
        "alone": alone,
        "chip": lambda: make_recordings.chip(recordings),
        "csv": lambda: make_recordings.csvs(csv, recordings, own),
        "store": lambda: make_store.store(store, recordings),
        "expected": lambda: expected(data, "7bf83f1"),
        "scenarios": scenarios,
    }
    for step in steps or todo:
        todo[step]()


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), sys.argv[2:])
