"""The switch test's face: a recorder's observer with the large word, a bell at each change, and q to end."""

from __future__ import annotations

import types
from typing import TYPE_CHECKING

from rich.console import Console, Group
from rich.control import Control
from rich.live import Live

from firstcrank.analysis.live import LiveTracker
from firstcrank.cli.draw import draw
from firstcrank.cli.keyboard import Keyboard
from firstcrank.limits import Limits
from firstcrank.visit.from_tracker import bins_event
from firstcrank.visit.switch_steps import SwitchVisit, switch_show, switch_step
from firstcrank.visit.values import Key

if TYPE_CHECKING:
    from firstcrank.trace import FloatArray


class SwitchScreen:
    """Lines elsewhere than on a terminal."""

    def __init__(self, console: Console, limits: Limits, ask: bool, plain: bool, simulated: bool) -> None:
        self.visit = SwitchVisit(limits["feed_off_v"], limits["feed_live_v"])
        self._console, self._limits = console, limits
        self._mark = "SIMULATED  SWITCH TEST" if simulated else "SWITCH TEST"
        pictured = console.is_terminal and not plain and not console.is_dumb_terminal
        self._live = Live(console=console, refresh_per_second=10, transient=True) if pictured else None
        self._keys = Keyboard(ask)
        self._last_line = ""

    def __enter__(self) -> SwitchScreen:
        self._keys.__enter__()
        if self._live is not None:
            self._live.start()
        else:
            self._console.print(self._mark)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: types.TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()
        self._keys.__exit__(kind, error, trace)

    def leads(self, lines: tuple[str, ...], key_is_off: bool) -> None:
        """The lead check's lines."""
        for line in lines:
            self._console.print(f"Check the leads: {line}")

    def bins(self, tracker: LiveTracker, battery_v: FloatArray, key_v: FloatArray, key_lowest_v: FloatArray) -> None:
        """New bins."""
        event = bins_event(tracker, self._limits, float(battery_v.mean()), float(key_v.mean()), float(key_lowest_v.min()))
        self.visit = switch_step(self.visit, event)
        for letter in self._keys.typed():
            self.visit = switch_step(self.visit, Key(letter, tracker.now_s))
        shown = switch_show(self.visit)
        line_text = f"{shown.word}: {shown.line}"
        if line_text != self._last_line:
            self._last_line = line_text
            if self._live is None:
                self._console.print(line_text)
            elif self._console.is_terminal:
                self._console.control(Control.bell())
        if self._live is not None:
            readings = (f"battery {self._text(battery_v)}   key feed {self._text(key_v)}",)
            height = max(self._console.height - 1, 2)
            ascii_only = self._console.options.ascii_only
            self._live.update(Group(*draw(shown, readings, self._console.width, height, ascii_only, self._mark)))

    @staticmethod
    def _text(volts: FloatArray) -> str:
        """A mean as text."""
        return f"{float(volts.mean()):5.1f} V"

    def ended(self, why: str) -> None:
        """The recording is over."""
        self._console.print(f"Recording ended: {why}.")

    def runs(self) -> bool | None:
        """No engine runs in a switch test."""
        return None

    def over(self) -> str:
        """Over when the person says so."""
        return "ended at the keyboard" if self.visit.over else ""

    def account(self) -> tuple[str, ...]:
        """How often START was seen."""
        return (f"Switch test: {self.visit.turns} turns through START seen while recording",)
