"""Which serial ports look like a board: by USB vendor and product, never by trying."""

from __future__ import annotations

from dataclasses import dataclass

from serial.tools import list_ports

from firstcrank.errors import NoBoardError

# MicroPython on RP2040 and RP2350 boards, from the raspberrypi/usb-pid list: vendor 2E8A, product 0005.
BOARD_USB_IDS = ((0x2E8A, 0x0005),)


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port with its USB serial number and what the system calls it."""

    device: str
    serial_number: str
    description: str


def board_ports() -> tuple[Port, ...]:
    """Ports with the USB ids of a MicroPython board, by device name."""
    found = [
        Port(p.device, p.serial_number or "", p.description or "")
        for p in list_ports.comports()
        if (p.vid, p.pid) in BOARD_USB_IDS
    ]
    return tuple(sorted(found, key=lambda port: port.device))


def other_ports() -> tuple[str, ...]:
    """Names of the serial ports on USB that are not known as a board's: one may be a board of another make."""
    return tuple(sorted(p.device for p in list_ports.comports() if p.vid is not None and (p.vid, p.pid) not in BOARD_USB_IDS))


def the_only_port(ports: tuple[Port, ...]) -> Port:
    """The one board. Raises NoBoardError where there is none or more than one, saying what to do."""
    if not ports:
        others = other_ports()
        seen = f" Other serial ports: {', '.join(others)}." if others else ""
        raise NoBoardError(
            "no board found: plug it in with a cable that carries data, or name its port with --port "
            f"(try --port sim:healthy for a simulated vehicle).{seen}"
        )
    if len(ports) > 1:
        names = ", ".join(f"{p.device} (serial {p.serial_number or 'unknown'})" for p in ports)
        raise NoBoardError(f"{len(ports)} boards found: {names}. Choose one with --port")
    return ports[0]
