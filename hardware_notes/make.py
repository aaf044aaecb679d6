"""Writes every file of the hardware notes from the builds, or checks that the files are what the builds give.

python -m hardware_notes.make            writes: pages, drawings, lists, KiCad project; with KiCad and the case's libraries there, also
                                         Gerbers, PDF, STL
python -m hardware_notes.make --check    compares, byte for byte, and runs KiCad's rules; exit code 1 and what is wrong
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
import tempfile
from pathlib import Path

from hardware_notes import bill, boot_picture, bring_up, draw, kicad_check, nominal, strip_board, strip_picture, write
from hardware_notes.kicad_write import project

HERE = Path(__file__).parent
SOLDER_FAULTS = (
    HERE.parent / "host" / "firstcrank" / "data" / "solder_faults.json"
)  # the program's, made from the same circuits

PROJECTS = {"minimal 12 V": "kicad", "better 12 V": "kicad_better"}  # printed board of a build, and its folder


def texts() -> dict[str, str]:
    """File name to text, all but the drawings, which their library writes itself."""
    made = dict(write.pages())
    made["strip_board.md"] = strip_board.page()
    made["strip_board.svg"] = strip_picture.picture()
    made["leads.svg"] = boot_picture.picture()
    for build, name in (("minimal 12 V", "minimal_12v"), ("minimal 24 V", "minimal_24v"), ("better 12 V", "better_12v")):
        made[f"bom_{name}.csv"] = bill.csv_text(build)
    made["bom_strip_12v.csv"] = bill.csv_text("minimal 12 V", clamp_pair=True)
    made["bom_strip_24v.csv"] = bill.csv_text("minimal 24 V", clamp_pair=True)
    for build, folder in PROJECTS.items():
        made |= {f"{folder}/{name}": text for name, text in project.files(build).items()}
    return made


def case_files() -> dict[str, bytes]:
    """The case, where its libraries are installed (the extra `hardware`); else nothing."""
    if not all(importlib.util.find_spec(name) for name in ("trimesh", "manifold3d")):
        return {}
    from hardware_notes import case

    return {f"case/{name}": data for name, data in case.files().items()}


def exported() -> dict[str, bytes]:
    """Gerbers and PDF, where KiCad is installed; else nothing."""
    if not kicad_check.found():
        return {}
    from hardware_notes import fabricate

    return {f"{folder}/{name}": data for build, folder in PROJECTS.items() for name, data in fabricate.files(build).items()}


def program_files() -> dict[Path, str]:
    """What the program itself reads: figures of soldering faults, nominal calibrations."""
    return {SOLDER_FAULTS: bring_up.figures_json(), **{nominal.DATA / name: text for name, text in nominal.files().items()}}


def write_all(folder: Path) -> list[str]:
    """All files into a folder; their names."""
    made = texts()
    for name, text in made.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8", newline="\n")
    draw.draw_all(folder)
    for name, data in case_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def differing() -> list[str]:
    """Names of files that are missing or not what the builds give."""
    with tempfile.TemporaryDirectory() as folder:
        names = write_all(Path(folder))
        wrong = [path.name for path, text in program_files().items() if not path.is_file() or path.read_text("utf-8") != text]
        return wrong + [
            n for n in names if not (HERE / n).is_file() or (HERE / n).read_bytes() != (Path(folder) / n).read_bytes()
        ]


def main() -> int:
    """0 where all is well."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--check", action="store_true")
    if not options.parse_args().check:
        write_all(HERE)
        for path, text in program_files().items():
            path.write_text(text, "utf-8", newline="\n")
        for name, data in exported().items():
            (HERE / name).write_bytes(data)
        return 0
    wrong = [f"hardware_notes/{name} is not what the builds give: make hardware" for name in differing()]
    wrong += [
        f"strip board: {message}"
        for build in ("minimal 12 V", "minimal 24 V")
        for message in strip_board.mistakes(strip_board.LAYOUT, build)
    ]
    if kicad_check.found():
        wrong += [f"KiCad, {build}: {message}" for build in PROJECTS for message in kicad_check.all_differences(build)]
        wrong += exports_wrong()
    else:
        print("no kicad-cli here: its rules were not run", file=sys.stderr)
    if not case_files():
        print("no trimesh and manifold3d here (extra `hardware`): the case was not made", file=sys.stderr)
    for message in wrong:
        print(message, file=sys.stderr)
    if not wrong:
        print("hardware notes: every file is what the builds give")
    return 1 if wrong else 0


def exports_wrong() -> list[str]:
    """Gerbers and PDF that are kept against what KiCad exports now, byte for byte, their dates taken out."""
    return [
        f"hardware_notes/{name} is not what the board gives: make hardware"
        for name, data in exported().items()
        if not (HERE / name).is_file() or (HERE / name).read_bytes() != data
    ]


if __name__ == "__main__":
    sys.exit(main())
