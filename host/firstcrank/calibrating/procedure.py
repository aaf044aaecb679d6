"""The guided calibration: what to connect, what the meter reads, what the board reads; then the lines, dated, to keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

from firstcrank.calibrating.fit import Fitted, Meter, Point, check_point, fit, swapped
from firstcrank.calibration import Calibration
from firstcrank.errors import CalibrationError

OLD_DAYS = 366


class Person(Protocol):
    """Who does what is asked."""

    def do(self, text: str) -> None:
        """Waits until it is done."""

    def volts(self, text: str) -> float:
        """The meter's reading; NaN or "done" ends the points."""

    def tell(self, text: str) -> None:
        """Shows a line."""


Reader = Callable[[], tuple[Mapping[str, float], Mapping[str, float]]]  # mean and rms code per role


@dataclass(frozen=True, slots=True)
class Outcome:
    """The calibration and the fit of each input."""

    calibration: Calibration
    fits: Mapping[str, Fitted]


def calibrate(
    person: Person, read: Reader, roles: Sequence[str], meter: Meter, nominal: Calibration | None, board: str
) -> Outcome:
    """Leads the person through the points. Raises CalibrationError with the reason where they make no calibration."""
    known = dict(nominal.channels) if nominal else {}
    points: list[Point] = []
    person.do("Engine off, nothing connected to the vehicle. Clip all input leads and the ground lead together (all shorted).")
    points.append(_take(0.0, read, points, known, person, shorted=True))
    _look_at_order(person, read, roles)
    while True:
        said_v = person.volts(
            "Put one steady voltage on all input leads (a battery, then two batteries or a supply). The meter reads (empty: done):"
        )
        if said_v != said_v:
            if sum(abs(p.meter_v) > 1.0 for p in points) >= 1:
                break
            person.tell("At least one known voltage is needed.")
            continue
        if not 1.0 < said_v < 60.0:
            person.tell(f"{said_v:g} V is no use here: 3 to 16 V for a 12 V board, the higher the better.")
            continue
        point = _take(said_v, read, points, known, person, shorted=False)
        if point is not None:
            points.append(point)
    fits = {role: fit(role, points, meter, known.get(role)) for role in roles}
    date = datetime.now(UTC).date().isoformat()
    calibration = Calibration(
        "measured",
        {role: fitted.line for role, fitted in fits.items()},
        date=date,
        meter=f"{meter.name}: {meter.reading_rel:.3%} + {meter.offset_v * 1e3:g} mV".strip(": "),
        board=board,
        notes=tuple(note for fitted in fits.values() for note in fitted.notes)[:1],
    )
    return Outcome(calibration, fits)


def _take(
    meter_v: float, read: Reader, points: list[Point], known: Mapping[str, object], person: Person, shorted: bool
) -> Point:
    mean, rms = read()
    point = Point(meter_v, dict(mean), dict(rms))
    trouble = check_point(point, points, known)  # type: ignore[arg-type]
    if shorted:
        high = [role for role, code in mean.items() if code > 40]
        if high:
            raise CalibrationError(
                f"{', '.join(high).replace('_', ' ')}: reads a voltage with all leads shorted: a lead is not on"
            )
    for line in trouble:
        person.tell(line)
    if trouble and not shorted:
        raise CalibrationError(trouble[0])
    return point


def _look_at_order(person: Person, read: Reader, roles: Sequence[str]) -> None:
    """One lead alone on a battery shows whether two inputs are swapped."""
    if len(roles) < 2:
        return
    first, second = roles[0], roles[1]
    person.do(
        f"Now the {first.replace('_', ' ')} lead alone on a battery's positive post, the others with the ground lead on negative."
    )
    mean, rms = read()
    line = swapped([Point(0.0, mean, rms)], first, second, alone=first)
    if line is not None:
        raise CalibrationError(line)
    if mean[first] < 20:
        raise CalibrationError(f"the {first.replace('_', ' ')} lead reads nothing: check the lead and its input")


def age_warning(calibration: Calibration, today: str) -> str | None:
    """A line where a measured calibration is older than a year, or has no date."""
    if calibration.kind != "measured":
        return None
    try:
        days = (datetime.fromisoformat(today) - datetime.fromisoformat(calibration.date)).days
    except ValueError:
        return "the board's calibration has no date: calibrate it again (firstcrank board calibrate)"
    if days > OLD_DAYS:
        return f"the board's calibration is {days} days old: calibrate it again (firstcrank board calibrate)"
    return None
