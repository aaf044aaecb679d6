"""The guided calibration: what to connect, what the meter reads, what the board reads; then the lines, dated, to keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

from firstcrank.calibrating.fit import ZERO_SHARE, Fitted, Meter, Point, check_point, fit, swapped, zero_code
from firstcrank.calibration import Calibration, ChannelCalibration
from firstcrank.errors import CalibrationError

OLD_DAYS = 366
LOW_TOP_V = 9.0  # an input that reaches less is calibrated with less
SHORTED_CODE = 40  # above this a shorted input is not shorted


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
    points.append(_take_shorted(person, read, known, roles))
    _look_at_order(person, read, roles, known)
    for group, ask in _groups(roles, known):
        points += _take_known(person, read, points[:1], group, ask, known)
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
    meter_v: float, read: Reader, points: Sequence[Point], known: Mapping[str, ChannelCalibration], roles: Sequence[str]
) -> tuple[Point, tuple[str, ...]]:
    mean, rms = read()
    point = Point(meter_v, {role: mean[role] for role in roles}, {role: rms[role] for role in roles})
    return point, check_point(point, points, known)


def _take_shorted(person: Person, read: Reader, known: Mapping[str, ChannelCalibration], roles: Sequence[str]) -> Point:
    person.do("Engine off, nothing connected to the vehicle. Clip all input leads and the ground lead together (all shorted).")
    point, trouble = _take(0.0, read, (), known, roles)
    zero = {role: zero_code(known.get(role)) for role in roles}
    high = [role for role, code in point.mean_code.items() if code - zero[role] > SHORTED_CODE + ZERO_SHARE * zero[role]]
    if high:
        raise CalibrationError(f"{', '.join(high).replace('_', ' ')}: reads a voltage with all leads shorted: a lead is not on")
    if trouble:
        raise CalibrationError(trouble[0])
    return point


def _groups(roles: Sequence[str], known: Mapping[str, ChannelCalibration]) -> list[tuple[list[str], str]]:
    """Inputs that take the same voltages, and what to say: those for grounds reach a few volts only."""
    low = [role for role in roles if role in known and known[role].full_scale_v < LOW_TOP_V]
    high = [role for role in roles if role not in low]
    groups = []
    if high:
        which = "all input leads" if not low else f"these leads: {_names(high)}; the others on ground"
        groups.append((high, f"Put one steady voltage on {which} (a battery, then two batteries or a supply)."))
    if low:
        top_v = min(known[role].full_scale_v for role in low)
        groups.append(
            (
                low,
                f"Put 1.2 to {0.9 * top_v:.1f} V on these leads: {_names(low)} (one or two 1.5 V cells); the others on ground.",
            )
        )
    return groups


def _names(roles: Sequence[str]) -> str:
    return ", ".join(role.replace("_", " ") for role in roles)


def _take_known(
    person: Person,
    read: Reader,
    before: Sequence[Point],
    group: Sequence[str],
    ask: str,
    known: Mapping[str, ChannelCalibration],
) -> list[Point]:
    """Points of known voltages for the inputs of `group`. Raises CalibrationError where none could be taken."""
    taken: list[Point] = []
    refused = ""
    while True:
        said_v = person.volts(f"{ask} The meter reads (empty: done):")
        if said_v != said_v:
            if taken:
                return taken
            raise CalibrationError(f"no known voltage was taken, the calibration stays as it was. {refused}".strip())
        if not 1.0 < abs(said_v) < 60.0:
            person.tell(f"{said_v:g} V is no use here: the higher the better, up to the input's range.")
            continue
        point, trouble = _take(said_v, read, [*before, *taken], known, group)
        if trouble:
            refused = trouble[0]
            for line in trouble:
                person.tell(line)
            person.tell("This point is not taken. Mend that and try again, or try another voltage.")
        else:
            taken.append(point)


def _look_at_order(person: Person, read: Reader, roles: Sequence[str], known: Mapping[str, ChannelCalibration]) -> None:
    """Each lead but the last alone on a battery shows whether two inputs are swapped."""
    for number, role in enumerate(roles[:-1]):
        where = role.replace("_", " ")
        person.do(f"Now the {where} lead alone on a battery's positive post, the others with the ground lead on negative.")
        mean, rms = read()
        for other in roles[number + 1 :]:
            line = swapped(Point(0.0, mean, rms), other, role, known)
            if line is not None:
                raise CalibrationError(line)
        if mean[role] < zero_code(known.get(role)) * (1 + ZERO_SHARE) + 20:
            raise CalibrationError(f"the {where} lead reads nothing: check the lead and its input")


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
