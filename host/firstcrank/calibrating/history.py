"""Earlier calibrations of a board, kept on this computer, and how far each input has moved since: a drift or a slip shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from firstcrank.analysis.uncertainty import of_voltage
from firstcrank.calibration import Calibration, ChannelCalibration, read_calibration
from firstcrank.errors import CalibrationError
from firstcrank.thresholds.calibration import CALIBRATION

EVEN_SAMPLES = 1000.0  # a mean of so many has no noise to speak of


@dataclass(frozen=True, slots=True)
class Movement:
    """How one input's reading of the same voltage has changed: `by_v` volts at `at_v`, later less earlier.

    `expanded_v` is the expanded uncertainty (k = 2) of both calibrations together; a movement within it shows nothing.
    """

    role: str
    at_v: float
    by_v: float
    expanded_v: float
    since: str

    @property
    def real(self) -> bool:
        """True where both uncertainties together do not explain it."""
        return abs(self.by_v) > self.expanded_v

    @property
    def text(self) -> str:
        """One line: "battery: moved by +30 mV at 12 V since 2026-03-02 (± 92 mV): within what both state"."""
        name = self.role.replace("_", " ")
        verdict = "more than both calibrations explain" if self.real else "within what both state"
        return (
            f"{name}: moved by {self.by_v * 1e3:+.0f} mV at {self.at_v:.3g} V since {self.since or 'a calibration without a date'} "
            f"(± {self.expanded_v * 1e3:.0f} mV): {verdict}"
        )


def movements(earlier: Calibration, later: Calibration) -> tuple[Movement, ...]:
    """For each input that both have: the volts that the later line gives less those of the earlier, at one and the same code."""
    found = []
    for role, line in later.channels.items():
        before = earlier.channels.get(role)
        if before is None or before.converter != line.converter:
            continue
        at_v = round(CALIBRATION.compared_share * line.full_scale_v, 1)
        code = line.real_code(at_v)
        was_v = float(before.volts(code))
        found.append(
            Movement(role, at_v, at_v - was_v, 2.0 * (_own_u(before, at_v) ** 2 + _own_u(line, at_v) ** 2) ** 0.5, earlier.date)
        )
    return tuple(found)


def _own_u(line: ChannelCalibration, volts: float) -> float:
    return of_voltage(volts, line.uncertainty, EVEN_SAMPLES)


def kept_calibrations(folder: Path, board: str) -> tuple[tuple[Path, Calibration], ...]:
    """Readable copies of this board's calibrations, the oldest first; what cannot be read is left out."""
    found = []
    for path in sorted(folder.glob(f"{board or 'board'}_*.toml")):
        try:
            calibration = read_calibration(path)
        except CalibrationError:
            continue
        if calibration.board in ("", board):
            found.append((path, calibration))
    return tuple(sorted(found, key=lambda item: (item[1].date, item[0].name)))


def since_last(
    kept: Sequence[tuple[Path, Calibration]], on_board: Calibration | None, now: Calibration
) -> tuple[Movement, ...]:
    """Against the newest earlier calibration: the board's own where it is a measured one, else the newest copy."""
    earlier = [calibration for _, calibration in kept]
    if on_board is not None and on_board.kind == "measured":
        earlier.append(on_board)
    if not earlier:
        return ()
    return movements(max(earlier, key=lambda calibration: calibration.date), now)
