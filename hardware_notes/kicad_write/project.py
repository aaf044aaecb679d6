"""All files of a KiCad project of its own: schematic, board, rules, libraries and their tables."""

from __future__ import annotations

import json

from hardware_notes.circuit import BOARD, circuit
from hardware_notes.kicad_write import board, schematic
from hardware_notes.kicad_write import footprints as fp
from hardware_notes.kicad_write.schematic import project_of
from hardware_notes.kicad_write.sexpr import Word, s, stable, written

SYMBOL_VERSION = 20241209


def _table(name: str, uri: str, kind: str) -> str:
    row = s(
        "lib",
        s("name", "firstcrank"),
        s("type", "KiCad"),
        s("uri", uri),
        s("options", ""),
        s("descr", "written by hardware_notes"),
    )
    return written(s(name, s("version", 7), row)) + "\n" if kind else ""


def settings(build: str) -> str:
    """The project file: net class of all tracks, severities as KiCad has them."""
    classes = [
        {
            "name": "Default",
            "clearance": 0.25,
            "track_width": board.TRACK_MM,
            "via_diameter": board.VIA_MM,
            "via_drill": board.VIA_DRILL_MM,
        }
    ]
    return (
        json.dumps(
            {
                "meta": {"filename": f"{project_of(build)}.kicad_pro", "version": 3},
                "net_settings": {"classes": classes, "meta": {"version": 4}},
            },
            indent=1,
        )
        + "\n"
    )


def library_footprints(build: str) -> dict[str, str]:
    """File name to text of every footprint used."""
    found, shapes = {}, board.shapes(build)
    for part in circuit(build):
        if part.place != BOARD:
            continue
        shape = shapes[part.ref]
        name = fp.name_of(part.kind, shape)
        head = [s("version", board.VERSION), s("generator", "firstcrank"), s("generator_version", "9.0"), s("layer", "F.Cu")]
        found[f"firstcrank.pretty/{name}.kicad_mod"] = (
            written(s("footprint", name, *head, *fp.body(part.kind, shape, "", "", None))) + "\n"
        )
    hole = s(
        "pad",
        "",
        Word("np_thru_hole"),
        Word("circle"),
        s("at", 0, 0),
        s("size", 3.2, 3.2),
        s("drill", 3.2),
        s("layers", "*.Cu", "*.Mask"),
        s("uuid", stable("lib-mount")),
    )
    head = [s("version", board.VERSION), s("generator", "firstcrank"), s("generator_version", "9.0"), s("layer", "F.Cu")]
    effects = s("effects", s("font", s("size", 1, 1)))
    names = [s("property", "Reference", "H**", s("at", 0, -3), s("layer", "F.Fab"), s("hide", True), s("uuid", stable("lib-mount-ref")), effects),
             s("property", "Value", "Mounting_3.2", s("at", 0, 3), s("layer", "F.Fab"), s("hide", True), s("uuid", stable("lib-mount-val")), effects)]  # fmt: skip
    flags = s("attr", Word("board_only"), Word("exclude_from_pos_files"), Word("exclude_from_bom"))
    found["firstcrank.pretty/Mounting_3.2.kicad_mod"] = (
        written(s("footprint", "Mounting_3.2", *head, *names, flags, hole)) + "\n"
    )
    return found


def library_symbols() -> str:
    """The symbol library's text: the same symbols as the schematic embeds, without the library's name before theirs."""
    symbols = []
    for name in schematic.SYMBOL_PINS:
        symbol = schematic.library_symbol(name)
        symbol[1] = name
        symbols.append(symbol)
    return (
        written(
            s(
                "kicad_symbol_lib",
                s("version", SYMBOL_VERSION),
                s("generator", "firstcrank"),
                s("generator_version", "9.0"),
                *symbols,
            )
        )
        + "\n"
    )


def files(build: str = "minimal 12 V") -> dict[str, str]:
    """File name to text."""
    name = project_of(build)
    return {
        f"{name}.kicad_sch": schematic.schematic(build),
        f"{name}.kicad_pcb": board.board(build),
        f"{name}.kicad_pro": settings(build),
        f"{name}.kicad_dru": board.rules(build),
        "firstcrank.kicad_sym": library_symbols(),
        "sym-lib-table": _table("sym_lib_table", "${KIPRJMOD}/firstcrank.kicad_sym", "symbols"),
        "fp-lib-table": _table("fp_lib_table", "${KIPRJMOD}/firstcrank.pretty", "footprints"),
        **library_footprints(build),
    }
