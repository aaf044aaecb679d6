"""Each build as parts with pins and nets: the one list that drawings, netlists, boards, layouts, orders and simulations come from.

Designators: first digit the lead's number, second the place in the input. R11 to R14 in the boot of lead 1, R15 on the board, R16 to
ground, R17 to the pin, R18 to the reference (lifted inputs), C11, D11 (and D12 where the clamp is two diodes). R1, F1, J1, SW1, U1, U2,
C1, C2 are there once.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from firstcrank.clamps import SILICON_PAIR
from firstcrank.divider.network import Network
from firstcrank.divider.values import written
from hardware_notes import builds

BOOT, LEAD, BOARD = "boot", "lead", "board"


@dataclass(frozen=True, slots=True)
class Part:
    """`pins`: number to net. `place`: in the clip's boot, in the lead, or on the board."""

    ref: str
    kind: str
    value: str
    rating: str
    pins: tuple[tuple[str, str], ...]
    place: str = BOARD
    ohm: float = 0.0
    farad: float = 0.0

    def net(self, pin: str) -> str:
        """The net of a pin. KeyError where there is none."""
        return dict(self.pins)[pin]


PICO = {"28": "GND", "29": "ESCAPE", "33": "AGND", "36": "3V3"}
PICO_NAMES = {
    **{str(n): "GND" for n in (3, 8, 13, 18, 23, 28, 38)},
    **dict(zip(("1", "2", "4", "5", "6", "7", "9", "10", "11", "12", "14", "15", "16", "17", "19", "20"),
               (f"GP{i}" for i in range(16)), strict=True)),
    **dict(zip(("21", "22", "24", "25", "26", "27", "29"), (f"GP{i}" for i in range(16, 23)), strict=True)),
    "30": "RUN", "31": "GP26", "32": "GP27", "33": "AGND", "34": "GP28", "35": "ADC_VREF", "36": "3V3", "37": "3V3_EN",
    "39": "VSYS", "40": "VBUS",
}  # fmt: skip
SPI = {"13": ("SCK", "24"), "12": ("MISO", "21"), "11": ("MOSI", "25"), "10": ("CS", "22")}  # converter pin: net, Pico pin
MCP_NAMES = {
    **{str(i + 1): f"CH{i}" for i in range(8)},
    "9": "DGND", "10": "CS", "11": "DIN", "12": "DOUT", "13": "CLK", "14": "AGND", "15": "VREF", "16": "VDD",
}  # fmt: skip
R_RATING = "1 %, 0.6 W, 350 V, 50 ppm/K, 0207"


def resistor(ref: str, ohm: float, one: str, other: str, place: str = BOARD, rating: str = R_RATING) -> Part:
    """A resistor between two nets."""
    return Part(ref, "R", written(ohm, "Ω"), rating, (("1", one), ("2", other)), place, ohm=ohm)


def one_input(number: int, role: str, n: Network, pin_net: str) -> list[Part]:
    """Lead `number`: from the clip to the pin."""
    i, node, lead = number, f"NODE{number}", f"LEAD{number}"
    chain = [f"CLIP{i}", f"BOOT{i}A", f"BOOT{i}B", f"BOOT{i}C", lead, node]
    parts = [
        resistor(f"R{i}{k + 1}", ohm, chain[k], chain[k + 1], BOOT if k < 4 else BOARD) for k, ohm in enumerate(n.parts_ohm)
    ]
    parts += [
        resistor(f"R{i}6", n.r_bottom_ohm, node, "AGND"),
        resistor(f"R{i}7", n.r_series_ohm, node, pin_net),
        Part(
            f"C{i}1",
            "C",
            written(n.c_filter_f, "F"),
            "5 %, 50 V, C0G or film",
            (("1", node), ("2", "AGND")),
            farad=n.c_filter_f,
        ),
    ]
    if n.r_up_ohm:
        parts.append(resistor(f"R{i}8", n.r_up_ohm, "3V3", node))
    if n.clamp is SILICON_PAIR:
        rating = "75 V, 0.15 A, DO-35"
        parts.append(Part(f"D{i}1", "D", "1N4148", rating, (("1", "3V3"), ("2", node))))  # pin 1 cathode (the ring), 2 anode
        parts.append(Part(f"D{i}2", "D", "1N4148", rating, (("1", node), ("2", "AGND"))))
    else:
        pins = (("1", "AGND"), ("2", "3V3"), ("3", node))  # anode, cathode, the middle: NXP BAV199
        parts.append(Part(f"D{i}1", "D2", "BAV199", "75 V, 0.14 A, 5 nA, SOT-23", pins))
    return parts


def circuit(build: str, clamp_pair: bool = False) -> tuple[Part, ...]:
    """All parts of a build. `clamp_pair`: two 1N4148 for each BAV199."""
    networks = builds.with_pair(build) if clamp_pair else builds.BUILDS[build]
    volts = 58 if builds.SYSTEM_V[build] == 24 else 32
    fuse = f"blade, breaks {builds.FUSE_BREAKING_A / 1e3:g} kA at {volts} V"
    # The ground lead ends at AGND, the point that R16 and C11 measure from.
    parts: list[Part] = [Part("F1", "F", f"{builds.FUSE_A:g} A", fuse, (("1", "CLIP0"), ("2", "AGND")), LEAD)]
    pico = dict(PICO)
    terminal = [("1", "AGND")]
    for number, (role, n) in enumerate(networks.items(), start=1):
        pin_net = f"PIN{number}"
        parts += one_input(number, role, n, pin_net)
        terminal.append((str(number + 1), f"LEAD{number}"))
        if "better" not in build:
            pico[builds.PICO_PINS[role].number] = pin_net
    parts.append(Part("J1", "J", f"{len(terminal)}-way", "screw terminal, 5.08 mm", tuple(terminal)))
    parts.append(resistor("R1", builds.R_BLEED_OHM, "3V3", "GND", rating="5 %, 0.25 W"))
    parts.append(Part("SW1", "SW", "push", "to ground while plugging in", (("1", "ESCAPE"), ("2", "GND"))))
    if "better" in build:
        mcp = {str(i + 1): f"PIN{i + 1}" for i in range(8)} | {"9": "AGND", "14": "AGND", "15": "3V3", "16": "3V3"}
        for converter_pin, (net, board_pin) in SPI.items():
            mcp[converter_pin] = net
            pico[board_pin] = net
        parts.append(Part("U2", "MCP3208", "MCP3208", "3.3 V, 16-pin DIP", tuple(sorted(mcp.items(), key=lambda p: int(p[0])))))
        parts.append(Part("C1", "C", "100 nF", "10 %, 50 V, X7R", (("1", "3V3"), ("2", "AGND")), farad=100e-9))
        parts.append(Part("C2", "C", "10 µF", "20 %, 16 V", (("1", "3V3"), ("2", "AGND")), farad=10e-6))
    parts.append(
        Part("U1", "PICO", "Pico-class board", "RP2040 or RP2350", tuple(sorted(pico.items(), key=lambda p: int(p[0]))))
    )
    return tuple(parts)


def nets(parts: tuple[Part, ...]) -> dict[str, frozenset[str]]:
    """Net name to the pins on it, each "R16.1"."""
    found: dict[str, set[str]] = defaultdict(set)
    for part in parts:
        for pin, net in part.pins:
            found[net].add(f"{part.ref}.{pin}")
    return {net: frozenset(pins) for net, pins in sorted(found.items())}


def roles(build: str) -> dict[int, str]:
    """Lead number to role."""
    return dict(enumerate(builds.BUILDS[build], start=1))
