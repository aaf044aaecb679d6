"""What a board house and a printer want, exported by KiCad's own command line: Gerbers with drill files, PDF. Dates are taken out."""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from pathlib import Path

from hardware_notes.kicad_check import run, unpack
from hardware_notes.kicad_write.schematic import project_of

LAYERS = "F.Cu,B.Cu,F.Mask,B.Mask,F.Paste,F.SilkS,Edge.Cuts"
DATE = "2000-01-01T00:00:00+00:00"
STAMP = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:[+-]\d\d:?\d\d)?")


def undated(text: str) -> str:
    """A Gerber, drill or job file without the day it was made on."""
    return STAMP.sub(DATE, text)


def undated_pdf(data: bytes) -> bytes:
    """The same PDF, its date of the same length."""
    return re.sub(rb"/CreationDate \(D:\d{14}\)", b"/CreationDate (D:20000101000000)", data)


def files(build: str = "minimal 12 V") -> dict[str, bytes]:
    """File name to bytes."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        unpack(folder, build)
        (folder / "out").mkdir()
        run(
            folder,
            "pcb",
            "export",
            "gerbers",
            "--layers",
            LAYERS,
            "--no-protel-ext",
            "-o",
            "out/",
            f"{project_of(build)}.kicad_pcb",
        )
        run(folder, "pcb", "export", "drill", "--format", "excellon", "-o", "out/", f"{project_of(build)}.kicad_pcb")
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted((folder / "out").iterdir()):
                entry = zipfile.ZipInfo(path.name, (2000, 1, 1, 0, 0, 0))
                entry.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(entry, undated(path.read_text("utf-8")))
        run(folder, "sch", "export", "pdf", "-o", "schematic.pdf", f"{project_of(build)}.kicad_sch")
        plots = ("--layers", "F.Cu,B.Cu,F.SilkS,Edge.Cuts", "--mode-single")
        run(folder, "pcb", "export", "pdf", *plots, "-o", "board.pdf", f"{project_of(build)}.kicad_pcb")
        return {
            "gerbers.zip": packed.getvalue(),
            "schematic.pdf": undated_pdf((folder / "schematic.pdf").read_bytes()),
            "board.pdf": undated_pdf((folder / "board.pdf").read_bytes()),
        }
