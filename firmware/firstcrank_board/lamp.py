"""What the LED shows. The patterns differ in rhythm alone, so they can be distinguished without colour.

docs/firmware.md shows them; the numbers are milliseconds on, off, on, off and so on, over and over.
"""

if 0:  # for mypy alone: compiled to nothing
    from board_types import Clock, Output

IDLE, RECORDING, WAITING, READY, CRANKING, KEEPING = "idle", "recording", "waiting", "ready", "cranking", "keeping"
PASS, FAIL, NO_VERDICT = "PASS", "FAIL", "NO VERDICT"
ERROR = "error"
PATTERNS = {
    IDLE: (30, 970),
    RECORDING: (1000, 1000),
    WAITING: (60, 2940),
    READY: (60, 200, 60, 1680),
    CRANKING: (1000, 0),
    KEEPING: (50, 50),
    PASS: (1600, 400),
    FAIL: (120, 140, 120, 140, 120, 900),
    NO_VERDICT: (700, 250, 120, 1100),
    ERROR: (400, 200, 400, 200, 80, 200, 80, 1240),
}
NOT_KEPT = (40, 60) * 6 + (40, 800)  # behind an outcome whose trace found no room in the flash


class Lamp:
    """`pin` has value(0 or 1), or is None on a board without an LED. `clock` gives ticks_us and ticks_diff."""

    def __init__(self, pin: "Output | None", clock: "Clock") -> None:
        self._pin = pin
        self._clock = clock
        self._times: "tuple[int, ...]" = ()
        self._at = 0
        self._next_us = 0
        self.shown: "tuple[str, bool] | None" = None

    def show(self, name: str, kept: bool = True) -> None:
        """From now on this pattern; a call for the one that is shown already changes nothing."""
        if (name, kept) == self.shown:
            return
        self.shown = (name, kept)
        self._times = PATTERNS[name] if kept else PATTERNS[name] + NOT_KEPT
        self._at = len(self._times) - 1
        self._next_us = self._clock.ticks_us()
        self.tick()

    def tick(self) -> None:
        """Called often; switches where it is time."""
        if not self._times or self._clock.ticks_diff(self._clock.ticks_us(), self._next_us) < 0:
            return
        self._at = (self._at + 1) % len(self._times)
        if self._pin is not None and self._times[self._at]:
            self._pin.value(1 - self._at % 2)
        self._next_us = (self._next_us + self._times[self._at] * 1000) & 0x3FFFFFFF
