"""What the marks on ignition switches, starters, alternators and relays mean, and which of them a module's key feed belongs on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, TypedDict

DIN = "DIN 72552, as several public lists give it"
US = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Terminal:
    """One mark. `acc`, `on`, `start`: live in that key position, None where the mark does not tell. `key_feed`: the advice."""

    mark: str
    what: str
    acc: Annotated[bool | None, "live with the key in ACC; null where the mark does not tell"]
    on: Annotated[bool | None, "live in ON"]
    start: Annotated[bool | None, "live in START"]
    key_feed: Annotated[str, "whether a module's key feed belongs on it"]
    source: Annotated[str, "who says so"]


DIN_TERMINALS = (
    Terminal("30", "battery plus, never switched", True, True, True, "no: the module would never sleep", DIN),
    Terminal(
        "15", "switched plus, key ON", False, True, None, "only if it stays live in START: test it, some switches drop it", DIN
    ),
    Terminal("15e", "switched plus, live while the starter turns too", False, True, True, "YES: made for it", US),
    Terminal(
        "15a", "series resistor's output to coil and starter (old: 16)", False, None, None, "no: not the full voltage", DIN
    ),
    Terminal("50", "starter solenoid", False, False, True, "never: it would feed the starter back", DIN),
    Terminal("75", "accessory, radio", True, True, False, "no: often dead in START", US),
    Terminal("61 / D+", "charge lamp", False, None, None, "no: it can feed back after key off", US),
    Terminal("17, 19", "glow-plug and starter switch: starting, preheating", False, None, None, "no", DIN),
    Terminal("31", "ground", False, False, False, "no", DIN),
)
AMERICAN_TERMINALS = (
    Terminal("BAT, B, B+", "battery, never switched", True, True, True, "no: the module would never sleep", US),
    Terminal("ACC, A", "accessory", True, True, False, "no: dead in START", US),
    Terminal(
        "IGN1, IGN, I", "ignition, live in ON and START", False, True, True, "YES, once tested: live in ON and in START", US
    ),
    Terminal("IGN2", "ignition, often the heater fan's", False, True, None, "test, never trust: it often dies in START", US),
    Terminal("S, ST, SOL", "starter solenoid", False, False, True, "never: it would feed the starter back", US),
    Terminal("R or I on a starter", "series resistor's by-pass, START only", False, False, True, "no: dead in ON", US),
    Terminal("L, IND", "charge lamp", False, None, None, "no: it can feed back after key off", US),
    Terminal("GND", "ground", False, False, False, "no", US),
)


@dataclass(frozen=True, slots=True)
class RelayPin:
    """One pin of a vehicle relay."""

    mark: str
    what: str
    source: Annotated[str, "who says so"]


class TerminalsTable(TypedDict):
    """What `wire --terminals --json` prints."""

    din: Annotated[list[Terminal], "European marks, DIN 72552"]
    american: Annotated[list[Terminal], "American marks"]
    relay: Annotated[list[RelayPin], "pins of a vehicle relay"]
    advice: list[str]


RELAY_PINS = (
    RelayPin("30", "common contact: from the battery, through its fuse", "DIN 72552 (from memory)"),
    RelayPin("87", "made when the coil is fed: to the load", "DIN 72552 (from memory)"),
    RelayPin("87a", "made when it is not; not on every relay", "DIN 72552 (from memory)"),
    RelayPin("86", "coil, plus side: from the switch; a coil diode's ring (cathode) is at this end", US),
    RelayPin("85", "coil, minus side: to ground; reversed, a coil diode burns or blows the fuse", US),
)

ADVICE = (
    "The key feed belongs on a terminal that is live in ON and stays live in START, without a gap while the key turns.",
    "A mark is a hint and no proof: switches were made with the same mark and another contact. Test each terminal, the starter wire "
    "off the solenoid, insulated and tied back, in every position; then prove it while cranking: firstcrank record.",
    "If the switch has no such terminal, use a relay arrangement drawn by a competent person. Never join the ON and START terminals.",
    "A relay's coil pins are not alike where it holds a diode or a resistor: read its own picture before you wire 85 and 86.",
)
