"""The guided calibration: what to connect, what the meter shows, what the board reads; then the lines, dated, to keep.

A slip costs one point: what contradicts the others is named and asked for again, the rest is kept.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

from firstcrank.analysis.uncertainty import of_voltage
from firstcrank.calibrating.fit import ContradictionError, Fitted, fit
from firstcrank.calibrating.points import Meter, Point, check_point, least_apart_v, swapped, zero_code
from firstcrank.calibration import Calibration, ChannelCalibration
from firstcrank.errors import CalibrationError
from firstcrank.thresholds.calibration import CALIBRATION

METER_SHOWS = "Type what the meter SHOWS, not what the battery is called"


class Operator(Protocol):
    """The person at the board, or what stands for one: carries out instructions and types readings."""

    def do(self, text: str) -> None:
        """Waits until it is done."""

    def volts(self, text: str) -> float:
        """What the meter shows; NaN ends the points."""

    def tell(self, text: str) -> None:
        """Shows a line."""


Reader = Callable[[], tuple[Mapping[str, float], Mapping[str, float]]]  # mean and rms code per role
Nominal = Mapping[str, ChannelCalibration]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The calibration and the fit of each input."""

    calibration: Calibration
    fits: Mapping[str, Fitted]


def calibrate(
    operator: Operator, read: Reader, roles: Sequence[str], meter: Meter, nominal: Calibration | None, board: str
) -> Outcome:
    """Leads the person through the points. Raises CalibrationError with the reason where they make no calibration."""
    known = dict(nominal.channels) if nominal else {}
    shorted = _take_shorted(operator, read, known, roles)
    _check_order(operator, read, roles, known)
    fits: dict[str, Fitted] = {}
    for group, ask in _groups(roles, known):
        shorted, made = _Group(operator, read, roles, group, ask, known, meter).run(shorted)
        fits.update(made)
    date = datetime.now(UTC).date().isoformat()
    calibration = Calibration(
        "measured",
        {role: fits[role].line for role in roles},
        date=date,
        meter=f"{meter.name}: {meter.reading_rel:.3%} + {meter.offset_v * 1e3:g} mV".strip(": "),
        board=board,
        notes=tuple(note for fitted in fits.values() for note in fitted.notes)[:1],
    )
    return Outcome(calibration, fits)


def _take(
    meter_v: float, read: Reader, points: Sequence[Point], known: Nominal, roles: Sequence[str]
) -> tuple[Point, tuple[str, ...]]:
    mean, rms = read()
    point = Point(meter_v, {role: mean[role] for role in roles}, {role: rms[role] for role in roles})
    return point, check_point(point, points, known)


def _take_shorted(operator: Operator, read: Reader, known: Nominal, roles: Sequence[str]) -> Point:
    trouble: tuple[str, ...] = ()
    for _ in range(CALIBRATION.tries):
        operator.do(
            "Engine off, nothing connected to the vehicle. Clip all input leads and the ground lead together (all shorted)."
        )
        point, trouble = _take(0.0, read, (), known, roles)
        if not trouble:
            return point
        operator.tell(trouble[0])
    raise CalibrationError(trouble[0])


def _groups(roles: Sequence[str], known: Nominal) -> list[tuple[list[str], str]]:
    """Inputs that take the same voltages, and what to say: those for grounds reach a few volts only."""
    low = [role for role in roles if role in known and known[role].full_scale_v < CALIBRATION.low_top_v]
    high = [role for role in roles if role not in low]
    groups = []
    if high:
        which = "all input leads" if not low else f"these leads: {_names(high)}; the others on ground"
        apart_v = max(least_apart_v(known.get(role)) for role in high)
        groups.append(
            (
                high,
                f"Put one steady voltage on {which}: two of them, at least {apart_v:.1f} V apart (a battery; a 9 V cell; the "
                "battery with headlights on; a supply).",
            )
        )
    if low:
        top_v = min(known[role].full_scale_v for role in low)
        groups.append(
            (
                low,
                f"Put {CALIBRATION.known_v + 0.2:.1f} to {0.9 * top_v:.1f} V on these leads: {_names(low)} (one, then two 1.5 V "
                "cells); the others on ground.",
            )
        )
    return groups


def _names(roles: Sequence[str]) -> str:
    return ", ".join(role.replace("_", " ") for role in roles)


@dataclass(slots=True)
class _Group:
    """Takes the known voltages for the inputs of `group`, until they make a line for each."""

    operator: Operator
    read: Reader
    roles: Sequence[str]
    group: Sequence[str]
    ask: str
    known: Nominal
    meter: Meter

    def run(self, shorted: Point) -> tuple[Point, dict[str, Fitted]]:
        """The shorted point (taken again where it was the slip) and the lines. Raises CalibrationError where none can be had."""
        taken: list[Point] = []
        blamed: list[float] = []
        refused, cost_shown, ended = "", False, 0
        while True:
            typed_v = self.operator.volts(f"{self.ask} {METER_SHOWS} (empty: done):")
            if math.isnan(typed_v):
                if not taken:
                    raise CalibrationError(f"no known voltage was taken, the calibration stays as it was. {refused}".strip())
                if not self._apart(taken) and not cost_shown:
                    cost_shown = True
                    self.operator.tell(self._cost([shorted, *taken]))
                    continue
                try:
                    return shorted, self._fits([shorted, *taken])
                except CalibrationError as error:
                    ended += 1
                    if ended == CALIBRATION.tries:
                        raise
                    self.operator.tell(f"{error}. Put on another voltage")
                    continue
            if not CALIBRATION.known_v < abs(typed_v) < CALIBRATION.typed_most_v:
                self.operator.tell(f"{typed_v:g} V is no use here: the higher the better, up to the input's range.")
                continue
            if blamed:  # a voltage read once more takes the place of what was typed for it before
                taken = [p for p in taken if abs(p.meter_v - typed_v) >= CALIBRATION.again_v]
            point, trouble = _take(typed_v, self.read, [shorted, *taken], self.known, self.group)
            if trouble:
                refused = trouble[0]
                for line in trouble:
                    self.operator.tell(line)
                self.operator.tell("This point is not taken. Put that right and try again, or try another voltage.")
                continue
            taken.append(point)
            try:
                self._fits([shorted, *taken])
            except ContradictionError as error:
                refused = str(error)
                suspect_v = error.meter_v
                others = [p.meter_v for p in taken if p.meter_v != suspect_v]
                if others and any(abs(suspect_v - v) < CALIBRATION.again_v for v in blamed):
                    suspect_v = others[-1]
                    refused = f"{error.meter_v:.2f} V reads as it did before, so it is the point at {suspect_v:.2f} V: read the meter again"
                blamed.append(suspect_v)
                self.operator.tell(f"{refused}. Only this point is taken again, the others stay.")
                if suspect_v == 0.0:
                    shorted = _take_shorted(self.operator, self.read, self.known, self.roles)
                else:
                    taken = [p for p in taken if p.meter_v != suspect_v]
            except CalibrationError as error:
                refused = str(error)  # one voltage alone, far from the nominal line: the next one tells

    def _fits(self, points: Sequence[Point]) -> dict[str, Fitted]:
        return {role: fit(role, points, self.meter, self.known.get(role)) for role in self.group}

    def _apart(self, taken: Sequence[Point]) -> bool:
        """Whether two of the known voltages lie far enough apart."""
        volts = [p.meter_v for p in taken]
        return max(volts) - min(volts) >= max(least_apart_v(self.known.get(role)) for role in self.group)

    def _cost(self, points: Sequence[Point]) -> str:
        """What stopping here costs, in volts."""
        apart_v = max(least_apart_v(self.known.get(role)) for role in self.group)
        at_v = max(p.meter_v for p in points)
        try:
            here_v = max(expanded_v(fitted.line, at_v) for fitted in self._fits(points).values())
            left = f"what is left is ± {here_v * 1e3:.0f} mV at {at_v:.1f} V"
        except CalibrationError as error:
            left = str(error)
        return (
            f"No two known voltages lie {apart_v:.1f} V apart, so nothing would show a slip of the meter: {left}. "
            "Put on another voltage, or take it so (empty again)."
        )


def expanded_v(line: ChannelCalibration, volts: float) -> float:
    """The stated uncertainty (k = 2) of a mean at `volts`, from the numbers that the judge uses."""
    return 2.0 * of_voltage(volts, line.uncertainty, 1000.0)


def _check_order(operator: Operator, read: Reader, roles: Sequence[str], known: Nominal) -> None:
    """Each lead but the last alone on a battery shows whether two inputs are swapped."""
    for number, role in enumerate(roles[:-1]):
        where = role.replace("_", " ")
        for last in range(CALIBRATION.tries):
            operator.do(
                f"Now the {where} lead alone on a battery's positive post, the others with the ground lead on negative."
            )
            mean, rms = read()
            for other in roles[number + 1 :]:
                line = swapped(Point(0.0, mean, rms), other, role, known)
                if line is not None:
                    raise CalibrationError(line)
            if mean[role] >= zero_code(known.get(role)) * (1 + CALIBRATION.zero_share) + CALIBRATION.opened_codes:
                break
            trouble = f"the {where} lead reads nothing: check the lead and its input"
            if last == CALIBRATION.tries - 1:
                raise CalibrationError(trouble)
            operator.tell(trouble)
