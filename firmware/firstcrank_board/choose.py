"""Which acquisition a recording gets: the fastest that the board and the pins allow, or the one asked for by name.

The external converter is only used when it is asked for: nobody can see whether one is there.
"""

from . import arena
from .commands import CommandRejected

if 0:  # for mypy alone: compiled to nothing
    from types import ModuleType

    from board_types import Acquisition, Clock, Config, MakeAdcs

    from .rp2_registers import Chip

AUTO, PORTABLE, DMA, SPI = "auto", "portable", "rp2_dma", "spi_mcp3208"


def chip() -> "Chip | None":
    """The rp2_registers.Chip this runs on, or None where there is no DMA-fed converter that we know."""
    try:
        import os

        import machine
        import rp2

        from .rp2_registers import this_chip

        rp2.DMA
        return this_chip(os.uname().machine, lambda number: _has_pin(machine, number))
    except (ImportError, AttributeError):
        return None


def _has_pin(machine: "ModuleType", number: int) -> bool:
    try:
        machine.Pin(number)
        return True
    except ValueError:
        return False


def available() -> "list[str]":
    """Names of what this board can do, the fastest first."""
    names = [PORTABLE]
    if chip() and not arena.why_not():
        from . import rp2_dma  # loaded now, while the heap is whole

        rp2_dma.plan

        names.insert(0, DMA)
    try:
        from machine import SPI as bus

        bus
        names.append(SPI)
    except ImportError:
        pass
    return names


def choose(config: "Config", clock: "Clock", adcs: "MakeAdcs") -> "Acquisition":
    """An acquisition for `config`. Raises CommandRejected where the one it names is not there or cannot take these pins."""
    wanted = config.get("acquisition", AUTO)
    names = available()
    why = arena.why_not()
    if wanted == DMA and why:
        raise CommandRejected("this board is too short of memory for %s: %s" % (DMA, why))
    if wanted != AUTO and wanted not in names:
        raise CommandRejected("this board has no acquisition called %s; it has %s" % (wanted, ", ".join(names)))
    if wanted == DMA or (wanted == AUTO and DMA in names):
        try:
            from .rp2_dma import DmaAcquisition

            return DmaAcquisition(chip(), [channel["pin"] for channel in config["channels"]])  # type: ignore[arg-type]  # DMA is available: there is a chip
        except ValueError as error:
            why = str(error)
            if wanted == DMA:
                raise CommandRejected(why)
    from .portable import PortableAcquisition  # only here: memory is short

    acquisition = PortableAcquisition(clock, adcs(config), SPI if wanted == SPI else PORTABLE)
    if wanted == AUTO and why:
        acquisition.why = why  # slower than this board could: whoever asked for the best gets the reason
    return acquisition
