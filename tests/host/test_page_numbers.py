"""Every number with a unit on the hardware pages and the input network's page is computed, or is somebody else's and named here.

A page's template is walked: what stands in {{ }} is computed as the page is written (and every page compared with that, byte for byte).
What stands there in figures must be in one of two tables: OURS says what it is computed from, and is; OUTSIDE says whose it is.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hardware_notes import bring_up, builds, circuit, pin_check
from hardware_notes.faults import FAULTS
from hardware_notes.kicad_write import board

from firstcrank.clamps import LEAKAGE_DOUBLES_K
from firstcrank.converters import CONVERTERS
from firstcrank.divider.budget import CALIBRATED_AT_C, METERS, Parts
from firstcrank.divider.converters import E11_CODES
from firstcrank.divider.network import SETTLE_TAUS
from firstcrank.divider.pulses import COILS, ESD_F, ESD_OHM, ESD_V
from firstcrank.divider.stress import OVERLOAD_S, PIN_LIMIT_A, SKIN_S
from firstcrank.divider.transfer import nominal_volts
from firstcrank.error_terms import TERMS
from firstcrank.wiring import ampacity, gauge

ROOT = Path(builds.__file__).parent.parent
PAGES = [*sorted((ROOT / "hardware_notes" / "pages").glob("*.j2")), *(ROOT / "hardware_notes" / n for n in ("README.md", "tested_on.md")),
         ROOT / "docs" / "input_network.md"]  # fmt: skip
UNITS = "%|mV|kV|V|kΩ|Ω|mA|µA|A|µs|ms|s|nF|pF|W|kA|K|u|τ|ppm/K|°C|MHz|Mbit/s|mm|codes|times|faults|planted faults|counts|boards"
QUANTITY = re.compile(rf"(?<![\w.,/])[-+]?\d[\d,]*(?:\.\d+)?(?: to \d[\d.]*)?[ ](?:{UNITS})(?![\w/])")
M12, M24, GND = builds.INPUT_12V, builds.INPUT_24V, builds.INPUT_GROUND
MCP, RP = CONVERTERS["mcp3208"], CONVERTERS["rp2040"]
ACQUISITION = (ROOT / "docs" / "acquisition.md").read_text("utf-8")

# As printed: how it is printed from what it comes from. On whatever page it stands, it means this.
OURS: dict[str, str] = {
    "12 V": f"{builds.SYSTEM_V['minimal 12 V']} V",
    "24 V": f"{builds.SYSTEM_V['minimal 24 V']} V",
    "-2 V": f"{builds.GROUND_V[0]:g} V",
    "2 V": f"{-builds.GROUND_V[0]:g} V",
    "1 %": f"{builds.TOLERANCE * 100:g} %",
    "2 %": f"{bring_up.REL * 100:g} %",
    "3.3 V": f"{pin_check.RAIL_V:g} V",
    "0.1 %": f"{METERS['0.1 % + 2 mV'].rel * 100:g} %",
    "2 mV": f"{METERS['0.1 % + 2 mV'].volts * 1e3:g} mV",
    "0.5 %": f"{METERS['0.5 % + 20 mV'].rel * 100:g} %",
    "4 µs": f"{pin_check.LETTING_GO_S[0] * 1e6:g} µs",
    "60 µs": f"{pin_check.LETTING_GO_S[1] * 1e6:g} µs",
    "1 mA": f"{PIN_LIMIT_A * 1e3:g} mA",
    "5 s": f"{OVERLOAD_S:g} s",
    "5 ms": f"{SKIN_S * 1e3:g} ms",
    "7 V": f"{builds.error_v('minimal 12 V', 'battery')[2]:g} V",
    "20 °C": f"{CALIBRATED_AT_C:g} °C",
    "60 °C": f"{builds.ERROR_C[1]:g} °C",
    "40 °C": f"{TERMS['hottest'].limit:g} °C",
    "0 to 40 °C": f"0 to {TERMS['hottest'].limit:g} °C",
    "10 K": f"{LEAKAGE_DOUBLES_K:g} K",
    "50 ppm/K": f"{Parts().reference_ppm_per_k:g} ppm/K",
    "100 kΩ": f"{RP.input_ohm / 1e3:g} kΩ",
    "20 pF": f"{MCP.sample_f * 1e12:g} pF",
    "10 nF": f"{M12.c_filter_f * 1e9:g} nF",
    "2,800 times": f"{MCP.lead_hz:,.0f} times",
    "24 µs": f"{24 / 1.0:g} µs",  # a reading is 24 clocks of 1 MHz: Microchip DS21298 figure 6-1
    "1 kA": f"{builds.FUSE_BREAKING_A / 1e3:g} kA",
    "58 V": next(p.rating for p in circuit.circuit("minimal 24 V") if p.kind == "F").rpartition("at ")[2],
    "25 faults": f"{len(FAULTS)} faults",
    "25 planted faults": f"{len(FAULTS)} planted faults",
    "8 kV": f"{ESD_V / 1e3:g} kV",
    "150 pF": f"{ESD_F * 1e12:g} pF",
    "330 Ω": f"{ESD_OHM:g} Ω",
    "80 %": f"{ampacity.LOAD_OF_FUSE * 100:g} %",
    "30 s": f"{ampacity.CRANK_S:g} s",
    "1500 V": f"{-COILS[-1].volts:g} V",
    "9.01 τ": f"{SETTLE_TAUS:.2f} τ",
    "9 V": "9 V" if 9.0 in builds.SHOWN_V["minimal 12 V"] and 9.0 in builds.SHOWN_V["minimal 24 V"] else "",
}
# Whose it is. A value from memory says so.
OUTSIDE: dict[str, str] = {
    "0 V": "a lead shorted to ground",
    "1.5 V": "a dry cell: what it is called",
    "0.2 V": "advice: far enough off a wide code",
    "10 mV": "a meter's count, an example",
    "2 counts": "a meter's data sheet, an example",
    "95 %": "coverage of U: JCGM 100, 6.3",
    "2 u": "coverage factor of the project: docs/glossary.md",
    "11 to 17 codes": "five boards measured by somebody else: tests/published/test_converter_published.py recomputes it",
    "2.8 to 3.1 codes": "the same",
    "0.97 codes": "published measurement of one board's supply modes, beside it on the page",
    "1 kV": "sleeve and isolator: what to order",
    "1 MHz": "MCP3208: Microchip DS21298 table 1 (from memory)",
    "2 MHz": "the same",
    "2.7 V": "the same",
    "5 V": "the same",
    "125 MHz": "clock of the emulated chip: tests/board",
    "70 µs": "measured on the emulated chip; kept nowhere else",
    "0.84 ms": "measured on the emulated chip: docs/acquisition.md",
    "1.4 ms": "measured on the emulated chip: docs/acquisition.md",
    "1,300 times": "measured on the emulated chip, eight leads; kept nowhere else",
    "1 ms": "analysis: samples further apart give no PASS",
    "30 kΩ": "a ready module's",
    "7.5 kΩ": "a ready module's",
    "0 to 25 V": "a ready module's own title",
    "12 Mbit/s": "USB 2.0, full speed",
    "30 mA": "our estimate of a module's current, said so on the page",
    "50 to 100 mA": "power banks, from memory",
    "20 %": "docs/performance.md: most CPU that is aimed at",
}
MEASURED_THERE = ("0.84 ms", "1.4 ms")


def by_hand(path: Path) -> str:
    """What a person wrote on a page: its template without what is computed, without links and code."""
    text = re.sub(r"\{\{.*?\}\}", "§", path.read_text("utf-8"), flags=re.DOTALL)
    return re.sub(r"`[^`]*`|\]\([^)]*\)", "", text.replace("\n", " "))


def quantities(text: str) -> set[str]:
    """Numbers with a unit, spaces single."""
    return {re.sub(r"\s+", " ", found) for found in QUANTITY.findall(re.sub(r"\s+", " ", text))}


@pytest.mark.parametrize("path", PAGES, ids=lambda p: p.name)
def test_every_number_by_hand_is_ours_and_computed_or_somebody_elses_and_named(path: Path) -> None:
    assert quantities(by_hand(path)) - set(OURS) - set(OUTSIDE) == set()


@pytest.mark.parametrize("printed", list(OURS))
def test_ours_are_what_they_are_computed_from(printed: str) -> None:
    assert OURS[printed] == printed


def test_no_entry_of_the_tables_is_idle() -> None:
    used = set().union(*(quantities(by_hand(path)) for path in PAGES))
    assert (set(OURS) | set(OUTSIDE)) - used == set()
    assert set(OURS) & set(OUTSIDE) == set()


def test_what_was_measured_elsewhere_stands_there() -> None:
    for figure in MEASURED_THERE:
        assert figure in ACQUISITION, figure


def test_an_unknown_number_would_be_seen(tmp_path: Path) -> None:
    page = tmp_path / "page.md.j2"
    page.write_text("At {{ volts(12) }} it takes 17.3 mA and\n3.61 V, `4 V` by\ncode.", "utf-8")
    assert quantities(by_hand(page)) == {"17.3 mA", "3.61 V"}


def test_pins_on_the_pages_are_the_circuits() -> None:
    """Board pins, the converter's pins and the counts in words, against the parts that everything else is made from."""
    minimal = (ROOT / "hardware_notes" / "minimal_build.md").read_text("utf-8")
    for lead, (role, pin) in enumerate(builds.PICO_PINS.items(), start=1):
        assert f"| `{role}`, lead {lead} | {pin.name} (pin {pin.number}) |" in minimal
        assert circuit.PICO_NAMES[pin.number] == pin.name
    u1 = next(p for p in circuit.circuit("minimal 12 V") if p.ref == "U1")
    for text, net in (("AGND (pin 33)", "AGND"), ("3V3 (pin 36)", "3V3"), ("GND (pin 28)", "GND"), ("GP22 (pin 29)", "ESCAPE")):
        number = re.search(r"pin (\d+)", text)[1]  # type: ignore[index]
        assert text in minimal
        assert u1.net(number) == net
    better = (ROOT / "hardware_notes" / "better_build.md").read_text("utf-8")
    for own, (net, other) in circuit.SPI.items():
        row = next(line for line in better.splitlines() if re.match(rf"\| [A-Z/]+, {own} \|", line))
        assert row.rstrip(" |").endswith(f"| {other}"), net
        assert circuit.PICO_NAMES[other] in row
    u2 = next(p for p in circuit.circuit("better 12 V") if p.ref == "U2")
    assert [u2.net(n) for n in ("9", "14", "15", "16")] == ["AGND", "AGND", "3V3", "3V3"]
    steps = (ROOT / "hardware_notes" / "README.md").read_text("utf-8")
    assert "seven steps" in steps
    assert len(bring_up.STEPS) == 7
    assert "2.5mm" in board.rules("better 12 V")
    assert "{{ mm(2.5) }}" in (ROOT / "hardware_notes" / "pages" / "minimal_build.md.j2").read_text("utf-8")


def test_the_wire_helpers_figures_on_the_page() -> None:
    text = (ROOT / "docs" / "input_network.md").read_text("utf-8")
    assert f"stranded {(gauge.STRAND_LAY - 1) * 100:.0f} % more" in text
    assert f"the load fills to {ampacity.LOAD_OF_FUSE * 100:.0f} %" in text.replace("\n", " ")
    assert f"one crank of {ampacity.CRANK_S:.0f} s" in text.replace("\n", " ")
    kicks = [f"{-coil.volts:g}" for coil in COILS]
    assert f"a coil's kick of {', '.join(kicks[:-1])} and {kicks[-1]} V" in text.replace("\n", " ")


def test_the_acquisition_pages_figures_of_the_builds() -> None:
    """Time constant, shortest dropout (filter, then one round of three leads at 2 us), volts of the wide codes, width of one."""
    for build, from_v, limit_v in (("minimal 12 V", 10.0, 7.0), ("minimal 24 V", 20.0, 10.0)):
        n = builds.BUILDS[build]["battery"]
        shortest_us = n.shortest_dropout_s(from_v, limit_v) * 1e6 + 3 * 2.0
        assert f"| {build} | {n.tau_s * 1e6:.0f} µs | {shortest_us:.0f} µs |" in ACQUISITION
    one_line = ACQUISITION.replace("\n", " ")
    at_v = [f"{nominal_volts(M12, code):.1f}" for code in E11_CODES]
    assert f"lie at {', '.join(at_v[:-1])} and {at_v[-1]} V" in one_line
    widest = max(width for _, width in RP.wide)
    assert f"known to {widest / 2:.0f} codes only, {widest / 2 * M12.step_v * 1e3:.0f} mV on" in one_line
    assert f"0.4 to {RP.residual_code:g} codes rms" in one_line
