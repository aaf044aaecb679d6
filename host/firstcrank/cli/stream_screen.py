"""The face of live values and the harness watch: a large line, lines under it, a bell, keys without waiting."""

from __future__ import annotations

import contextlib
import types
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.console import Console, Group
from rich.control import Control
from rich.live import Live
from rich.text import Text

from firstcrank.cli.banner import LETTERS, banner, fitted
from firstcrank.cli.keyboard import Keyboard
from firstcrank.errors import UsageError
from firstcrank.printable import printable

if TYPE_CHECKING:
    from firstcrank.board.bins_decoder import Readings
    from firstcrank.cli.options import StreamOptions
    from firstcrank.limits import Limits

LONGEST_NAME = 40


@contextlib.contextmanager
def readings_of(console: Console, options: StreamOptions) -> Iterator[tuple[Iterator[Readings], Limits, bool]]:
    """The readings as they come, the limits, and whether they are simulated. The board is stopped and closed at the end."""
    from firstcrank.board.bins_stream import stream
    from firstcrank.cli.choose_port import chosen_link
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.cli.record import choose_calibration
    from firstcrank.cli.simulated import as_simulated, limits_of
    from firstcrank.link.board_client import BoardClient

    limits_of(options)
    channels_of(options["leads"])
    if options["csv"] is not None and options["csv"].exists():
        raise UsageError(f"{options['csv']} is already there: choose another name with --csv")
    client = BoardClient(chosen_link(options["port"]))
    try:
        client.handshake()
        options = as_simulated(client, options)
        limits, channels = limits_of(options), channels_of(options["leads"])
        calibration = choose_calibration(client, options["calibration_file"], limits, console)
        readings = stream(client, channels, calibration, limits["module_minimum_v"])
        with contextlib.closing(readings):  # type: ignore[type-var]
            yield readings, limits, client.link.synthetic
    finally:
        client.close()


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed since: single letters, a finished name, whether it is to end."""

    letters: str = ""
    place: str = ""
    done: bool = False


class StreamScreen:
    """A picture on a terminal, beeps as lines elsewhere. `naming` is the name being typed, None where none is."""

    def __init__(self, console: Console, plain: bool, simulated: bool) -> None:
        self._console = console
        self._mark = "SIMULATED" if simulated else ""
        pictured = console.is_terminal and not plain and not console.is_dumb_terminal
        self._live = Live(console=console, refresh_per_second=10, transient=True) if pictured else None
        self._keys = Keyboard()
        self.naming: str | None = None

    def __enter__(self) -> StreamScreen:
        self._keys.__enter__()
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: types.TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()
        self._keys.__exit__(kind, error, trace)

    def beep(self, line: str) -> None:
        """At once: a bell, and the line above the picture."""
        if self._console.is_terminal:
            self._console.control(Control.bell())
        self._console.print(printable(line))

    def typed(self) -> Typed:
        """Letters; n begins a name, Enter ends it."""
        letters, place, done = "", "", False
        for letter in self._keys.typed():
            if self.naming is None:
                letters += letter.lower()
                done = done or letter.lower() == "q"
                self.naming = "" if letter.lower() == "n" else None
            elif letter in "\r\n":
                place, self.naming = self.naming.strip(), None
            elif letter in "\x7f\b":
                self.naming = self.naming[:-1]
            elif letter.isprintable():
                self.naming = (self.naming + letter)[:LONGEST_NAME]
        return Typed(letters, place, done)

    def update(self, shown: tuple[str, tuple[str, ...]]) -> None:
        """The large line and those under it."""
        if self._live is None:
            return
        large, lines = shown
        width, height = self._console.width, max(self._console.height - 1, 2)
        head = [Text(f" {self._mark} ".center(width)[:width], style="bold reverse")] if self._mark else []
        body = [Text(printable(line)[:width]) for line in lines]
        rows = _large(large, width) if height >= len(head) + len(body) + 6 else [Text(large, style="bold")]
        self._live.update(Group(*[*head, *rows, *body][:height]))


def _large(text: str, width: int) -> list[Text]:
    known = all(letter in LETTERS for letter in text)
    lines = fitted(text, width) if known and text else None
    if lines is None:
        return [Text(text, style="bold")]
    return [Text(row, style="bold") for line in lines for row in (*banner(line), "")]
