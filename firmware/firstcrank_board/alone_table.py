"""The table that a board works alone by, checked whole before it is kept: a number that is missing would end the program in a crank.

VERSION changes with what the numbers mean. A table of another version, from before an update, is not used: the board says so on its
LED and to the host, and waits to be set again.
"""

from .commands import CommandRejected

if 0:  # for mypy alone: compiled to nothing
    from board_types import Table

VERSION = 2
CODES16 = (  # means and differences of means, in 1/16 code
    "off16",
    "live16",
    "minimum_pass16",
    "drop_pass16",
    "drop_fail16",
    "sag16",
    "recover16",
    "ripple16",
    "charged16",
    "rest_low16",
    "rest_high16",
    "coil_live16",
    "turn_sag16",
    "battery_gone16",
)
CODES = ("minimum_fail_code", "ground_rise_code", "trigger_code")
TIMES = ("bin_us", "dropout_min_us", "dropout_total_us", "bounce_us", "crank_ms", "crank_running_ms", "after_ms", "run_on_ms")
MOST_OFFSET16 = 65520
MOST_TIME = 1 << 29


def check(table: object) -> None:
    """Raises CommandRejected naming what is missing or out of range."""
    if not isinstance(table, dict):
        raise CommandRejected("what is needed to work alone is no table")
    if table.get("version") != VERSION:
        raise CommandRejected(
            "the table for working alone is of version %s and not %d: tell the board again" % (table.get("version"), VERSION)
        )
    for name in CODES16:
        _number(table, name, 0, 16 * 4095)
    for name in CODES:
        _number(table, name, 0, 4095)
    for name in TIMES:
        _number(table, name, 0, MOST_TIME)
    _number(table, "ratio4096", 1, 1 << 20)
    _number(table, "offset16", -MOST_OFFSET16, MOST_OFFSET16)
    roles = [channel["role"] for channel in table["channels"]] if _are_channels(table.get("channels")) else []
    if "battery" not in roles or "key_switch" not in roles:
        raise CommandRejected("working alone needs the leads battery and key_switch")


def _are_channels(channels: object) -> bool:
    return isinstance(channels, list) and all(isinstance(c, dict) and "role" in c and "pin" in c for c in channels)


def _number(table: "Table", name: str, low: int, high: int) -> None:
    value = table.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise CommandRejected("working alone: %s is %s, must be a whole number from %d to %d" % (name, value, low, high))
