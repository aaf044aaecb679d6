"""The KiCad project: its own rules clean, its netlist the builds' pin by pin, and every planted mistake found. Needs kicad-cli 9."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hardware_notes import kicad_check, spice
from hardware_notes.circuit import circuit
from hardware_notes.kicad_write import board
from hardware_notes.kicad_write.project import files
from hardware_notes.kicad_write.schematic import project_of
from hardware_notes.kicad_write.sexpr import children, read, s, written

from firstcrank.divider.pulses import pulses

needs_kicad = pytest.mark.skipif(not kicad_check.found(), reason="no kicad-cli here (Debian: kicad from bookworm-backports)")
PROJECT = project_of("minimal 12 V")
FILES = files()
SCHEMATIC, BOARD = FILES[f"{PROJECT}.kicad_sch"], FILES[f"{PROJECT}.kicad_pcb"]


def changed_once(text: str, old: str, new: str, which: int = 0) -> str:
    """One of several places changed; the place must be there."""
    places = [m.start() for m in re.finditer(re.escape(old), text)]
    at = places[which]
    return text[:at] + new + text[at + len(old) :]


def test_what_is_written_reads_back() -> None:
    tree = read(SCHEMATIC)
    assert tree[0] == "kicad_sch"
    assert len(children(tree, "symbol")) == len(circuit("minimal 12 V"))
    assert written(s("a", "b c", 1.0, True, s("d", -0.00001))) == '(a "b c" 1 yes\n\t(d 0)\n)'
    assert files() == FILES  # the same bytes each time


@needs_kicad
@pytest.mark.parametrize("build", ["minimal 12 V", "minimal 24 V", "better 12 V"])
def test_rules_and_netlist_are_clean(build: str) -> None:
    assert kicad_check.all_differences(build) == []


def relabel(net: str, other: str, which: int) -> Callable[[str], str]:
    return lambda text: changed_once(text, f'(label "{net}"', f'(label "{other}"', which)


def swapped_labels(one: str, other: str) -> Callable[[str], str]:
    """Two nets' last labels, at the module or the terminal, exchanged."""

    def swap(text: str) -> str:
        text = relabel(one, "SWAP", -1)(text)
        return changed_once(relabel(other, one, -1)(text), '(label "SWAP"', f'(label "{other}"')

    return swap


def shifted(text: str) -> str:
    """A part moved off its labels: R17's instance 2.54 mm down."""
    x, y = re.search(r'\(symbol\s+\(lib_id "firstcrank:R_across"\)\s+\(at ([\d.]+) ([\d.]+) 0\)', text).groups()  # type: ignore[union-attr]
    return changed_once(text, f"(at {x} {y} 0)", f"(at {x} {float(y) + 2.54:g} 0)")


NETLIST_FAULTS: dict[str, Callable[[str], str]] = {
    "inputs swapped at the module": swapped_labels("PIN1", "PIN2"),
    "leads swapped at the terminal": lambda t: changed_once(
        relabel("LEAD1", "SWAP", 1)(relabel("LEAD2", "LEAD1", 1)(t)), '"SWAP"', '"LEAD2"'
    ),
    "3V3 misspelt at a diode": relabel("3V3", "3V4", 0),
    "AGND misspelt at R16": relabel("AGND", "AGDN", 0),
    "AGND written GND": relabel("AGND", "GND", 1),
    "R1 on the escape pin": relabel("3V3", "ESCAPE", -2),
    "C21 on the wrong rail": relabel("AGND", "3V3", 4),
    "a lead's name lost": relabel("LEAD3", "LEAD4", 0),
    "a node's name on another": relabel("NODE2", "NODE1", 0),
    "the ground clip on 3V3": relabel("AGND", "3V3", 9),
    "a part beside its wires": shifted,
}


@needs_kicad
@pytest.mark.parametrize("name", list(NETLIST_FAULTS))
def test_a_planted_netlist_fault_is_found(tmp_path: Path, name: str) -> None:
    kicad_check.unpack(tmp_path)
    bad = NETLIST_FAULTS[name](SCHEMATIC)
    assert bad != SCHEMATIC
    (tmp_path / f"{PROJECT}.kicad_sch").write_text(bad, "utf-8")
    assert kicad_check.netlist_differences(tmp_path)


def without_track(layer: str, which: int) -> Callable[[str], str]:
    """One track gone."""

    def cut(text: str) -> str:
        tracks = [m for m in re.finditer(r"\n\t\(segment.*?\n\t\)", text, re.DOTALL) if f'"{layer}"' in m.group()]
        return text.replace(tracks[which].group(), "")

    return cut


def extra_track(one: tuple[float, float], other: tuple[float, float], layer: str, net: str) -> Callable[[str], str]:
    """A track that shorts or crowds: from hole to hole (row, column)."""

    def add(text: str) -> str:
        number = int(re.search(rf'\(net (\d+) "{re.escape(net)}"\)', text)[1])  # type: ignore[index]
        track = written(board.segment(board.mm(one), board.mm(other), layer, number), 1)
        return text.replace("\n\t(embedded_fonts", f"\n\t{track}\n\t(embedded_fonts")

    return add


def without_via(text: str) -> str:
    return re.sub(r"\n\t\(via.*?\n\t\)", "", text, count=1, flags=re.DOTALL)


def swapped_pad_nets(text: str) -> str:
    """A footprint's two pads exchanged: a part the wrong way round."""
    block = re.search(r'\n\t\(footprint "firstcrank:SOT-23".*?\n\t\)', text, re.DOTALL).group()  # type: ignore[union-attr]
    one, other = (re.search(rf'\(net \d+ "/{net}"\)', block).group() for net in ("3V3", "AGND"))  # type: ignore[union-attr]
    turned = block.replace(one, "SWAP").replace(other, one).replace("SWAP", other)
    return text.replace(block, turned)


def without_footprint(text: str) -> str:
    block = re.search(r'\n\t\(footprint "firstcrank:Header_1x2".*?\n\t\)', text, re.DOTALL).group()  # type: ignore[union-attr]
    return text.replace(block, "")


BOARD_FAULTS: dict[str, Callable[[str], str]] = {
    "a strip's track missing": without_track("B.Cu", 3),
    "a wire's track missing": without_track("F.Cu", 0),
    "a diode's track missing": without_track("F.Cu", -1),
    "a via missing": without_via,
    "a track that shorts two nodes": extra_track((15, 24), (17, 24), "B.Cu", "/NODE1"),
    "a clip net less than 2.5 mm from ground": extra_track((15, 36), (14, 36), "B.Cu", "/LEAD1"),
    "a track over the edge": extra_track((7, 8), (-2, 8), "F.Cu", "/AGND"),
    "a part beside its tracks": lambda _: board.board("minimal 12 V", {"R27": (0.0, 1.27)}),
    "a terminal moved towards R15": lambda _: board.board("minimal 12 V", {"J1": (-7.62, 0.0)}),
    "a diode the wrong way round": swapped_pad_nets,
    "a part missing": without_footprint,
    "another value than the schematic's": lambda t: t.replace('(property "Value" "6.8 kΩ"', '(property "Value" "68 kΩ"', 1),
}


@needs_kicad
@pytest.mark.parametrize("name", list(BOARD_FAULTS))
def test_a_planted_board_fault_is_found(tmp_path: Path, name: str) -> None:
    kicad_check.unpack(tmp_path)
    bad = BOARD_FAULTS[name](BOARD)
    assert bad != BOARD
    (tmp_path / f"{PROJECT}.kicad_pcb").write_text(bad, "utf-8")
    found = kicad_check.drc(tmp_path)
    print(name, found)
    assert found


BETTER = "better 12 V"
BETTER_SHEET, BETTER_PCB = (files(BETTER)[f"{project_of(BETTER)}.{end}"] for end in ("kicad_sch", "kicad_pcb"))


def crowded(text: str) -> str:
    """A track of ground between two clip nets."""
    number = int(re.search(r'\(net (\d+) "/AGND"\)', text)[1])  # type: ignore[index]
    one, other = (board.ORIGIN_X, board.ORIGIN_Y), (board.ORIGIN_X + 5.0, board.ORIGIN_Y + 3.0)
    track = written(board.segment(one, other, "F.Cu", number), 1)
    return text.replace("\n\t(embedded_fonts", f"\n\t{track}\n\t(embedded_fonts")


BETTER_FAULTS: dict[str, tuple[str, Callable[[str], str]]] = {
    "two inputs swapped at the converter": ("kicad_sch", swapped_labels("PIN3", "PIN4")),
    "DIN and DOUT swapped": ("kicad_sch", swapped_labels("MOSI", "MISO")),
    "a rail on ground": ("kicad_sch", relabel("3V3", "AGND", 2)),
    "3V3 misspelt": ("kicad_sch", relabel("3V3", "3V4", -1)),
    "a lead's name lost": ("kicad_sch", relabel("LEAD8", "LEAD7", 0)),
    "a ground column cut": ("kicad_pcb", without_track("B.Cu", 4)),
    "a fan track missing": ("kicad_pcb", without_track("F.Cu", -1)),
    "a via missing": ("kicad_pcb", without_via),
    "ground beside a clip net": ("kicad_pcb", crowded),
    "the converter moved by a pin": ("kicad_pcb", lambda _: board.board(BETTER, {"U2": (0.0, 2.54)})),
    "R78 beside its tracks": ("kicad_pcb", lambda _: board.board(BETTER, {"R78": (0.0, 1.27)})),
}  # fmt: skip


@needs_kicad
@pytest.mark.parametrize("name", list(BETTER_FAULTS))
def test_a_fault_planted_in_the_better_builds_project_is_found(tmp_path: Path, name: str) -> None:
    ending, plant = BETTER_FAULTS[name]
    good = BETTER_SHEET if ending == "kicad_sch" else BETTER_PCB
    bad = plant(good)
    assert bad != good
    kicad_check.unpack(tmp_path, BETTER)
    (tmp_path / f"{project_of(BETTER)}.{ending}").write_text(bad, "utf-8")
    found = kicad_check.netlist_differences(tmp_path, BETTER) if ending == "kicad_sch" else kicad_check.drc(tmp_path, BETTER)
    print(name, found)
    assert found


@needs_kicad
@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice here (Debian package ngspice)")
def test_the_netlist_that_would_be_ordered_survives_a_kick_as_the_designer_says(tmp_path: Path) -> None:
    kicad_check.unpack(tmp_path)
    wired = kicad_check.as_parts(tmp_path)
    assert wired == circuit("minimal 12 V")
    kick = next(p for p in pulses(12) if "1000 V" in p.name)
    for lead in (1, 2, 3):
        found = spice.transient(wired, kick, lead, others_v=12.0)
        others = [found[f"hi_node{j}"] for j in (1, 2, 3) if j != lead]
        assert found[f"v_r{lead}1"] < 350.0
        assert max(abs(v - 12.0 * 6.8 / 39.8) for v in others) < 0.01  # the other leads do not notice
