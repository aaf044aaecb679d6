"""The terminal as a face of a visit: a large word at a time, a bell at each change, keys without waiting.

Elsewhere than on a terminal, on a dumb one, or with `plain`: one line for each change and nothing else.
"""

from __future__ import annotations

import types
from dataclasses import replace
from typing import TYPE_CHECKING

import click
import numpy as np
from rich.console import Console, Group
from rich.control import Control
from rich.live import Live

from firstcrank.analysis.live import LiveTracker
from firstcrank.cli.draw import draw
from firstcrank.cli.keyboard import Keyboard
from firstcrank.cli.strip import ASCII_BLOCKS, BLOCKS, row
from firstcrank.cli.wrapped import question
from firstcrank.limits import Limits
from firstcrank.printable import printable
from firstcrank.visit.account import account
from firstcrank.visit.from_tracker import bins_event
from firstcrank.visit.showing import lead_lines, show
from firstcrank.visit.steps import step
from firstcrank.visit.values import Event, Key, Leads, Show, Stage, Visit

if TYPE_CHECKING:
    from firstcrank.trace import FloatArray

COLUMN_S = 0.12
NEWEST_BINS = 40  # some 30 ms


class VisitScreen:
    """A recorder's observer that drives a visit and shows it. `visit`: where it begins, a guided one with what was answered before."""

    def __init__(
        self,
        console: Console,
        limits: Limits,
        ask: bool = False,
        plain: bool = False,
        beep: bool = True,
        simulated: bool = False,
        visit: Visit | None = None,
    ) -> None:
        self.visit = replace(visit or Visit(), feed_off_v=limits["feed_off_v"], feed_live_v=limits["feed_live_v"])
        self._console, self._limits, self._ask, self._beep = console, limits, ask, beep
        self._mark = "SIMULATED" if simulated else ""
        self._top_v = 14.0 * limits.system_v / 12.0
        pictured = console.is_terminal and not plain and not console.is_dumb_terminal
        self._live = Live(console=console, refresh_per_second=10, transient=True, screen=False) if pictured else None
        self._keys = Keyboard(ask)
        self._battery: list[float] = []
        self._feed: list[float] = []
        self._column_from_s = 0.0
        self._last_line = ""

    def __enter__(self) -> VisitScreen:
        self._keys.__enter__()
        if self._live is not None:
            self._live.start()
        elif self._mark:
            self._console.print(self._mark)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: types.TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()
        self._keys.__exit__(kind, error, trace)

    def leads(self, lines: tuple[str, ...], key_is_off: bool) -> None:
        """The lead check, each time it changes."""
        before = self.visit.leads
        self._take(Leads(lines))
        if self._live is None:
            for line in lead_lines(self.visit):
                self._console.print(line, markup=False)
            if before and not lines:
                self._console.print("Leads look right now.")

    def bins(self, tracker: LiveTracker, battery_v: FloatArray, key_v: FloatArray, key_lowest_v: FloatArray) -> None:
        """New bins."""
        lowest_v = float(key_lowest_v.min())
        newest_v = float(key_v[-NEWEST_BINS:].mean())  # of a whole frame the mean would be a frame late
        self._take(bins_event(tracker, self._limits, float(battery_v.mean()), newest_v, lowest_v))
        for letter in self._keys.typed():
            self._take(Key(letter, tracker.now_s))
        if self._live is None:
            return
        self._column(tracker.now_s, float(battery_v.min()), lowest_v)
        self._live.update(self._picture())

    def _column(self, now_s: float, battery_v: float, feed_v: float) -> None:
        if now_s - self._column_from_s >= COLUMN_S or not self._battery:
            self._column_from_s = now_s
            self._battery.append(battery_v)
            self._feed.append(feed_v)
            del self._battery[:-500], self._feed[:-500]
        else:
            self._battery[-1] = min(self._battery[-1], battery_v)
            self._feed[-1] = min(self._feed[-1], feed_v)

    def _take(self, event: Event) -> None:
        self.visit = step(self.visit, event)
        shown = show(self.visit)
        line_text = f"{shown.word}: {shown.line}"
        changed = self._changed(shown)
        if changed and self._live is None and self.visit.stage is not Stage.OVER:
            self._console.print(printable(line_text), markup=False)
            for line in shown.lines if shown.word in ("WAIT", "CRANK") else ():
                self._console.print(f"  {printable(line)}", markup=False)
        if changed and self._beep and self._console.is_terminal:
            self._console.control(Control.bell())

    def _changed(self, shown: Show) -> bool:
        """Whether the word, or a warning under it, is another one."""
        line_text = f"{shown.word} {shown.line if shown.warning else ''} {self.visit.stage}"
        changed, self._last_line = line_text != self._last_line, line_text
        return changed

    def _picture(self) -> Group:
        ascii_only = self._console.options.ascii_only
        count = max(self._console.width - 24, 10)
        blocks = ASCII_BLOCKS if ascii_only else BLOCKS
        readings = (
            f"battery   {self.visit.battery_v:5.1f} V  {row(np.asarray(self._battery[-count:]), self._top_v, blocks)}",
            f"key feed  {self.visit.feed_v:5.1f} V  {row(np.asarray(self._feed[-count:]), self._top_v, blocks)}",
        )
        height = max(self._console.height - 1, 2)
        return Group(*draw(show(self.visit), readings, self._console.width, height, ascii_only, self._mark))

    def ended(self, why: str) -> None:
        """The recording is over."""
        self._console.print(f"Recording ended: {printable(why)}.", markup=False)

    def runs(self) -> bool | None:
        """Whether the engine runs: as seen or answered in the visit, else asked where there is somebody to ask."""
        if self.visit.ran:
            return True
        if not self._ask or self.visit.fault:
            return None
        self.__exit__(None, None, None)
        return click.confirm(question("The crank was short. Does the engine run by itself now?"), default=False)

    def over(self) -> str:
        """Why the visit is over, empty while it goes on."""
        if not self.visit.guided and not self.visit.fault and self.visit.why != "ended at the keyboard":
            return ""
        return self.visit.why if self.visit.stage is Stage.OVER else ""

    def account(self) -> tuple[str, ...]:
        """What the report says of the visit."""
        return account(self.visit) if self.visit.guided else ()
