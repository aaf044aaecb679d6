"""Faults that a builder makes, each as a changed list of parts. Used to prove that bring-up finds them; nothing else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from hardware_notes.circuit import Part

Parts = tuple[Part, ...]
BRIDGE_OHM, OPEN_OHM = 0.1, 1e12


@dataclass(frozen=True, slots=True)
class Fault:
    """`part`: what bring-up must name. `planted`: the good board's parts in, the bad board's out."""

    name: str
    part: str
    planted: Callable[[Parts], Parts]


def valued(ref: str, **values: float) -> Callable[[Parts], Parts]:
    """Another value."""
    return lambda parts: tuple(replace(p, **values) if p.ref == ref else p for p in parts)  # type: ignore[arg-type]


def missing(ref: str) -> Callable[[Parts], Parts]:
    """Not fitted: its pins end nowhere."""
    return lambda parts: tuple(
        replace(p, pins=tuple((pin, f"AIR_{ref}_{pin}") for pin, _ in p.pins)) if p.ref == ref else p for p in parts
    )


def reversed_part(ref: str) -> Callable[[Parts], Parts]:
    """The first two pins exchanged."""

    def turn(p: Part) -> Part:
        (one, net), (other, other_net), *rest = p.pins
        return replace(p, pins=((one, other_net), (other, net), *rest))

    return lambda parts: tuple(turn(p) if p.ref == ref else p for p in parts)


def moved(*moves: tuple[str, str, str]) -> Callable[[Parts], Parts]:
    """(ref, pin, net): pins that end at other nets."""

    def move(parts: Parts) -> Parts:
        wanted = {(ref, pin): net for ref, pin, net in moves}
        made = []
        for p in parts:
            pins = dict(p.pins) | {pin: net for (ref, pin), net in wanted.items() if ref == p.ref}
            made.append(replace(p, pins=tuple(pins.items())))
        return tuple(made)

    return move


def bridged(one: str, other: str) -> Callable[[Parts], Parts]:
    """A solder bridge between two nets."""
    return lambda parts: (*parts, Part("BRIDGE", "R", "", "", (("1", one), ("2", other)), ohm=BRIDGE_OHM))


def swapped_leads(parts: Parts) -> Parts:
    """Leads 1 and 2 in each other's terminal."""
    return moved(("R14", "2", "LEAD2"), ("R24", "2", "LEAD1"))(parts)


def swapped_pins(parts: Parts) -> Parts:
    """The wires to pins 31 and 32 exchanged."""
    return moved(("U1", "31", "PIN2"), ("U1", "32", "PIN1"))(parts)


FAULTS = (
    Fault("R16 68 kΩ for 6.8 kΩ", "R16", valued("R16", ohm=68e3)),
    Fault("R16 680 Ω for 6.8 kΩ", "R16", valued("R16", ohm=680.0)),
    Fault("R16 not fitted", "R16", missing("R16")),
    Fault("R17 470 Ω for 4.7 kΩ", "R17", valued("R17", ohm=470.0)),
    Fault("R17 47 kΩ for 4.7 kΩ", "R17", valued("R17", ohm=47e3)),
    Fault("R17 open joint", "R17", valued("R17", ohm=OPEN_OHM)),
    Fault("R15 30 kΩ for 3 kΩ", "R15", valued("R15", ohm=30e3)),
    Fault("C11 not fitted", "C11", missing("C11")),
    Fault("C11 100 nF for 10 nF", "C11", valued("C11", farad=100e-9)),
    Fault("C11 1 nF for 10 nF", "C11", valued("C11", farad=1e-9)),
    Fault("D11 reversed", "D11", reversed_part("D11")),
    Fault("D12 reversed", "D12", reversed_part("D12")),
    Fault("D11 not fitted", "D11", missing("D11")),
    Fault("leads 1 and 2 exchanged", "leads 1 and 2", swapped_leads),
    Fault("pins 31 and 32 exchanged", "pins 31 and 32", swapped_pins),
    Fault("ground wire to pin 33 open", "pin 33", moved(("U1", "33", "AIR_33"))),
    Fault("3V3 wire on pin 37 (3V3_EN)", "pin 37", moved(("U1", "36", "AIR_36"), ("U1", "37", "3V3"))),
    Fault("bridge from the node of lead 1 to that of lead 2", "leads 1 and 2", bridged("NODE1", "NODE2")),
    Fault("bridge from pin 31 to pin 32", "pins 31 and 32", bridged("PIN1", "PIN2")),
    Fault("bridge from pin 32 to pin 33", "pins 32 and 33", bridged("PIN2", "AGND")),
    Fault("bridge over C11", "C11", bridged("NODE1", "AGND")),
    Fault("R12 75 kΩ for 7.5 kΩ", "boot of lead 1", valued("R12", ohm=75e3)),
    Fault("R12 crushed, bridged", "boot of lead 1", valued("R12", ohm=BRIDGE_OHM)),
    Fault("boot of lead 1 open", "boot of lead 1", valued("R13", ohm=OPEN_OHM)),
    Fault("R1 not fitted", "R1", missing("R1")),
)
