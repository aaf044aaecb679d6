"""What the user sees while recording: what to do now, the two voltages, a strip that moves."""

from __future__ import annotations

import types
from typing import TYPE_CHECKING

import click
import numpy as np
from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from firstcrank.analysis.live import LiveTracker
from firstcrank.cli.strip import row
from firstcrank.limits import Limits
from firstcrank.printable import printable

if TYPE_CHECKING:
    from firstcrank.trace import FloatArray

DO = {
    "key off?": "Key OFF, please. Waiting to see the feed dead.",
    "key off seen": "Key off seen. Now turn the key ON and wait for the WAIT lamp.",
    "key on": "Key is ON. When the WAIT lamp is out: CRANK. Let go when the engine runs up by itself, or after 5 seconds.",
    "cranking": "Cranking...",
    "released": "Let go seen. LEAVE THE KEY ON; if the engine runs, let it run.",
    "done": "Done.",
}
COLUMN_S = 0.12


class LiveScreen:
    """A Watcher. On a terminal a live picture, elsewhere one line for each new state."""

    def __init__(self, console: Console, limits: Limits, ask: bool = False) -> None:
        self._console, self._ask = console, ask
        self._top_v = 14.0 * limits.system_v / 12.0
        self._said = ""
        self._warned = False
        self._live = Live(console=console, refresh_per_second=10, transient=True) if console.is_terminal else None
        self._battery: list[float] = []
        self._key: list[float] = []
        self._column_from_s = 0.0

    def __enter__(self) -> LiveScreen:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: types.TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()

    def leads(self, lines: tuple[str, ...], key_is_off: bool) -> None:
        """The lead check. A warning that has gone is taken back, with no word where only the key was turned."""
        if not lines and (key_is_off or self._warned):
            self._console.print("Leads look right." if not self._warned else "Leads look right now.")
        self._warned = bool(lines)
        for line in lines:
            self._console.print(Text(f"Check the leads: {line}", style="bold reverse"))

    def bins(self, tracker: LiveTracker, battery_v: FloatArray, key_v: FloatArray, key_lowest_v: FloatArray) -> None:
        """New bins."""
        if tracker.state != self._said:
            self._said = tracker.state
            if tracker.state != "done":
                self._console.print(Text(DO[tracker.state], style="bold"))
        if self._live is None:
            return
        if tracker.now_s - self._column_from_s >= COLUMN_S or not self._battery:
            self._column_from_s = tracker.now_s
            self._battery.append(float(battery_v.min()))
            self._key.append(float(key_lowest_v.min()))
        else:
            self._battery[-1] = min(self._battery[-1], float(battery_v.min()))
            self._key[-1] = min(self._key[-1], float(key_lowest_v.min()))
        self._live.update(self._picture(tracker))

    def _picture(self, tracker: LiveTracker) -> Group:
        count = max(self._console.width - 24, 20)
        lines = [
            Text(f"battery   {tracker.battery_v:5.1f} V  {row(np.asarray(self._battery[-count:]), self._top_v)}"),
            Text(f"key feed  {tracker.key_v:5.1f} V  {row(np.asarray(self._key[-count:]), self._top_v)}"),
        ]
        if tracker.crank_start_s is not None:
            turned_s = (tracker.crank_end_s or tracker.now_s) - tracker.crank_start_s
            lines.append(Text(f"cranked {turned_s:.1f} s"))
        return Group(*lines)

    def ended(self, why: str) -> None:
        """The recording is over."""
        self._console.print(Text(f"Recording ended: {printable(why)}."))

    def runs(self) -> bool | None:
        """Asks whether the engine runs, where there is somebody to ask."""
        if not self._ask:
            return None
        if self._live is not None:
            self._live.stop()
        return click.confirm("The crank was short. Does the engine run by itself now?", default=False)
