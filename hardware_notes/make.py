"""Writes every file of the hardware notes from the builds, or checks that the files are what the builds give.

python -m hardware_notes.make            writes
python -m hardware_notes.make --check    compares, byte for byte; exit code 1 and the names where something differs
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from hardware_notes import bill, bring_up, draw, strip_board, strip_picture, write

HERE = Path(__file__).parent


def texts() -> dict[str, str]:
    """File name to text, all but the drawings, which their library writes itself."""
    made = dict(write.pages())
    made["board_check_figures.json"] = bring_up.figures_json()
    made["strip_board.md"] = strip_board.page()
    made["strip_board.svg"] = strip_picture.picture()
    for build, name in (("minimal 12 V", "minimal_12v"), ("minimal 24 V", "minimal_24v"), ("better 12 V", "better_12v")):
        made[f"bom_{name}.csv"] = bill.csv_text(build)
    made["bom_strip_12v.csv"] = bill.csv_text("minimal 12 V", clamp_pair=True)
    made["bom_strip_24v.csv"] = bill.csv_text("minimal 24 V", clamp_pair=True)
    return made


def write_all(folder: Path) -> list[str]:
    """All files into a folder; their names."""
    made = texts()
    for name, text in made.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8", newline="\n")
    draw.draw_all(folder)
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def differing() -> list[str]:
    """Names of files that are missing or not what the builds give."""
    with tempfile.TemporaryDirectory() as folder:
        names = write_all(Path(folder))
        return [n for n in names if not (HERE / n).is_file() or (HERE / n).read_bytes() != (Path(folder) / n).read_bytes()]


def main() -> int:
    """0 where all is well."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--check", action="store_true")
    if not options.parse_args().check:
        write_all(HERE)
        return 0
    wrong = differing()
    for name in wrong:
        print(f"hardware_notes/{name} is not what the builds give: make hardware", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
