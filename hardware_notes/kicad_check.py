"""What KiCad's own command line says of the written project: rules, and its netlist pin by pin against the builds."""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

from hardware_notes.circuit import Part, circuit, nets
from hardware_notes.kicad_write.project import files
from hardware_notes.kicad_write.schematic import project_of

PROGRAM = "kicad-cli"


def found() -> bool:
    """KiCad 9's command line is there (Debian: kicad from bookworm-backports)."""
    return shutil.which(PROGRAM) is not None


def unpack(folder: Path, build: str = "minimal 12 V") -> None:
    """The project's files into a folder."""
    for name, text in files(build).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8", newline="\n")


def run(folder: Path, *arguments: str) -> str:
    """One call of kicad-cli in a folder. Raises RuntimeError with its words where it cannot do it."""
    done = subprocess.run([PROGRAM, *arguments], cwd=folder, capture_output=True, text=True, timeout=300, check=False)
    if done.returncode:
        raise RuntimeError(f"{PROGRAM} {' '.join(arguments)}: {done.stdout[-400:]} {done.stderr[-400:]}")
    return done.stdout


def erc(folder: Path, build: str = "minimal 12 V") -> list[str]:
    """Violations of the electrical rules, errors and warnings, by name."""
    run(folder, "sch", "erc", "--severity-all", "--format", "json", "-o", "erc.json", f"{project_of(build)}.kicad_sch")
    report = json.loads((folder / "erc.json").read_text("utf-8"))
    return [v["type"] for sheet in report["sheets"] for v in sheet["violations"]]


def drc(folder: Path, build: str = "minimal 12 V") -> list[str]:
    """Violations of the design rules, unconnected pads, differences from the schematic, by name."""
    arguments = ("--severity-all", "--schematic-parity", "--format", "json", "-o", "drc.json")
    run(folder, "pcb", "drc", *arguments, f"{project_of(build)}.kicad_pcb")
    report = json.loads((folder / "drc.json").read_text("utf-8"))
    return [v["type"] for key in ("violations", "unconnected_items", "schematic_parity") for v in report[key]]


def netlist(folder: Path, build: str = "minimal 12 V") -> dict[str, frozenset[str]]:
    """Net name to pins, as KiCad reads the schematic; nets of one pin left out."""
    run(folder, "sch", "export", "netlist", "--format", "kicadxml", "-o", "netlist.xml", f"{project_of(build)}.kicad_sch")
    listed = {}
    for net in ElementTree.parse(folder / "netlist.xml").iter("net"):
        pins = {f"{node.attrib['ref']}.{node.attrib['pin']}" for node in net.iter("node")}
        if len(pins) > 1:
            listed[net.attrib["name"].removeprefix("/")] = frozenset(pins)
    return listed


def netlist_differences(folder: Path, build: str = "minimal 12 V") -> list[str]:
    """In words what differs between KiCad's netlist and the builds, pin by pin."""
    theirs = netlist(folder, build)
    ours = {net: pins for net, pins in nets(circuit(build)).items() if len(pins) > 1}
    differences = []
    for net in sorted(set(theirs) | set(ours)):
        more, less = (
            theirs.get(net, frozenset()) - ours.get(net, frozenset()),
            ours.get(net, frozenset()) - theirs.get(net, frozenset()),
        )
        if more or less:
            differences.append(f"{net}: too many {sorted(more)}, missing {sorted(less)}")
    return differences


def as_parts(folder: Path, build: str = "minimal 12 V") -> tuple[Part, ...]:
    """The builds' parts wired as KiCad's netlist says: for a simulation of what would be ordered."""
    where = {pin: net for net, pins in netlist(folder, build).items() for pin in pins}

    def wired(p: Part, pin: str, net: str) -> str:
        return where.get(f"{p.ref}.{pin}", net if net.startswith("CLIP") else f"AIR_{p.ref}_{pin}")

    return tuple(replace(p, pins=tuple((pin, wired(p, pin, net)) for pin, net in p.pins)) for p in circuit(build))


def all_differences(build: str = "minimal 12 V") -> list[str]:
    """Everything KiCad finds wrong with the project as written now."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        unpack(folder, build)
        return [
            *(f"ERC {v}" for v in erc(folder, build)),
            *(f"DRC {v}" for v in drc(folder, build)),
            *netlist_differences(folder, build),
        ]
