"""Which acquisition a recording gets: the fastest that the board and the pins allow, or the one asked for by name."""

from .commands import Refused
from .portable import PortableAcquisition


def available():
    """Names of what this board can do, the fastest first."""
    return ["portable"]


def choose(config, clock, adcs, fast):
    """An acquisition for `config`. Raises Refused where the one it names is not there."""
    wanted = config.get("acquisition", "auto")
    names = available()
    if wanted != "auto" and wanted not in names:
        raise Refused("this board has no acquisition called %s; it has %s" % (wanted, ", ".join(names)))
    return PortableAcquisition(clock, adcs(config["channels"]), fast.fold)
