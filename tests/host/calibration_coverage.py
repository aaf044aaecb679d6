"""How often the stated 95 % holds the truth, over simulated builds that are calibrated by the program's own fit.

python -m tests.host.calibration_coverage [--builds N]

A build is physics written here and nowhere else: resistors with tolerance and temperature coefficient, a reference with error and
drift, two clamp diodes with their own leakage at temperature, charge from the lead converted before, an input resistance. Only the
transfer of the converter is another's: the simulator's own, or that of five real boards (tests/published/data).
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firstcrank.analysis.uncertainty import of_difference, of_voltage
from firstcrank.calibrating.fit import fit
from firstcrank.calibrating.points import Meter, Point, check_point
from firstcrank.calibration import Calibration, ChannelCalibration, nominal_channel
from firstcrank.errors import CalibrationError
from firstcrank_sim.board.converter import SPIKE_WIDTHS, WIDTH_SPREAD, with_spikes

Array = NDArray[np.float64]
ROLES = ("battery", "key_switch", "starter_coil")
SERIES_OHM = 4.7e3  # node to pin
NOMINAL = Calibration(
    "nominal",
    {
        r: nominal_channel(33e3, 6.8e3, 0.01, filter_f=10e-9, input_ohm=100e3, r_series_ohm=SERIES_OHM, clamp="1n4148")
        for r in ROLES
    },
)
METERS = (Meter("0.1 % + 2 mV", 0.001, 0.002), Meter("0.5 % + 10 mV", 0.005, 0.010), Meter("1 % + 20 mV", 0.01, 0.020))
POINT_SERIES = ((9.0, 12.6), (4.5, 9.0, 12.6))
AT_V = (3.0, 7.0, 9.0, 12.0, 14.0)
READ = 64  # conversions in a reading
DROPS = 4  # battery minus feed, of each build
BOARDS = Path(__file__).parents[1] / "published" / "data" / "rp2040_five_boards.csv"

Transfer = Callable[[Array, np.random.Generator], Array]  # even codes, shape (leads, conversions), noise added -> codes


def of_sim(rng: np.random.Generator) -> Transfer:
    """The simulator's converter, its wide codes drawn."""
    widths = tuple(float(w) for w in np.asarray(SPIKE_WIDTHS) + rng.uniform(-WIDTH_SPREAD, WIDTH_SPREAD, 4))
    offset = rng.uniform(-10.0, 17.0)
    return lambda even, _: np.clip(np.rint(with_spikes(even + offset, widths)), 0, 4095)


def of_boards(rng: np.random.Generator) -> Transfer:
    """One of five real boards: the input at which each code begins; in between, and beyond the table, straight."""
    table = np.loadtxt(BOARDS, delimiter=",", skiprows=3)
    begins, codes = table[:, 1 + rng.integers(5)], table[:, 0]

    def transfer(even: Array, _: np.random.Generator) -> Array:
        beyond = np.minimum(even - begins[0], 0.0) + np.maximum(even - begins[-1], 0.0)
        return np.asarray(np.clip(np.floor(np.interp(even, begins, codes) + beyond), 0, 4095))

    return transfer


MODELS: dict[str, Callable[[np.random.Generator], Transfer]] = {"simulator": of_sim, "five boards": of_boards}


class Build:
    """One board of the minimal build with three leads."""

    def __init__(self, rng: np.random.Generator, transfer: Transfer) -> None:
        self.rng, self.transfer = rng, transfer
        self.top = 33e3 * (1 + rng.uniform(-0.01, 0.01, 3))
        self.bottom = 6.8e3 * (1 + rng.uniform(-0.01, 0.01, 3))
        self.tc = rng.uniform(-100e-6, 100e-6, (2, 3))
        self.leak_a = 25e-9 * rng.uniform(
            0.0, 1.0, (2, 3)
        )  # 1N4148 to the reference, to ground; at 25 °C, up to its sheet's limit
        self.pin_a = 1e-6 * rng.uniform(-1.0, 1.0, 3)  # at 85 °C, up to the chip's sheet's limit
        self.input_s = 1.0 / (10 ** rng.uniform(5.0, 7.0) + SERIES_OHM)
        self.sample_f = rng.uniform(0.5e-12, 1.5e-12)
        self.reference_v = 3.3 * (1 + rng.uniform(-0.01, 0.01))
        self.noise_code = rng.uniform(0.5, 1.4)
        self.celsius = rng.uniform(15.0, 30.0)

    def moved_on(self) -> None:
        """From the day of calibration to the day of use."""
        self.celsius = self.rng.uniform(0.0, 40.0)
        self.reference_v *= 1 + self.rng.uniform(-0.004, 0.004)

    def read(self, volts: Array) -> Array:
        """Mean code of each lead with `volts` (3,) on the clips, converted round robin."""
        kelvin = self.celsius + 273.15
        saturation = self.leak_a * (kelvin / 298.15) ** 2 * np.exp(0.69 / 8.617e-5 * (1 / 298.15 - 1 / kelvin))
        top, bottom = (r * (1 + tc * (self.celsius - 25.0)) for r, tc in zip((self.top, self.bottom), self.tc, strict=True))
        sampled_s = 500e3 / 3 * self.sample_f
        pin_a = self.pin_a * 2.0 ** ((self.celsius - 85.0) / 10.0)
        node = volts * bottom / (top + bottom)
        for _ in range(4):
            up = saturation[0] * (1 - np.exp(-np.clip(self.reference_v - node, 0, 5) / 0.026))
            down = saturation[1] * (1 - np.exp(-np.clip(node, 0, 5) / 0.026))
            driven = volts / top + up - down - pin_a + sampled_s * np.roll(node, 1)
            node = driven / (1 / top + 1 / bottom + self.input_s + sampled_s)
        pin = node * (1 - SERIES_OHM * self.input_s) - pin_a * SERIES_OHM
        even = pin / self.reference_v * 4096
        noisy = even[:, None] + self.noise_code * self.rng.standard_normal((3, READ))
        return np.asarray(self.transfer(noisy, self.rng).mean(axis=1))

    def point(self, shown_v: float, true_v: float) -> Point:
        codes = self.read(np.full(3, true_v))
        rms = dict.fromkeys(ROLES, self.noise_code)
        return Point(shown_v, dict(zip(ROLES, (float(c) for c in codes), strict=True)), rms)


class Shows:
    """A meter within its limits: its share of reading fixed; its volts all one offset, or each reading's own."""

    def __init__(self, meter: Meter, rng: np.random.Generator) -> None:
        self.meter, self.rng = meter, rng
        self.gain = 1 + meter.reading_rel * rng.uniform(-1, 1)
        self.fixed_v = meter.offset_v * rng.uniform(-1, 1) if rng.random() < 0.5 else None

    def __call__(self, true_v: float) -> float:
        off_v = self.meter.offset_v * self.rng.uniform(-1, 1) if self.fixed_v is None else self.fixed_v
        return true_v * self.gain + off_v


def calibrated(build: Build, meter: Meter, known_v: tuple[float, ...]) -> dict[str, ChannelCalibration] | None:
    """The lines of one build; None where the program refused. A voltage on a wide code is moved, as the program asks."""
    shows = Shows(meter, build.rng)
    points = [build.point(0.0, 0.0)]
    for wanted_v in known_v:
        for moved_v in (0.0, 0.2, 0.4, -0.2):
            point = build.point(shows(wanted_v + moved_v), wanted_v + moved_v)
            if not check_point(point, points, NOMINAL.channels):
                points.append(point)
                break
    try:
        return {role: fit(role, points, meter, NOMINAL.channel(role)).line for role in ROLES}
    except CalibrationError:
        return None


@dataclass(frozen=True, slots=True)
class Row:
    """Coverage of one converter model, meter and set of voltages. `share[what]`: inside; `u_v[what]`: stated, k = 2, mean."""

    model: str
    meter: str
    known_v: tuple[float, ...]
    refused: int
    share: dict[str, float]
    u_v: dict[str, float]


def measure(model: str, meter: Meter, known_v: tuple[float, ...], builds: int, seed: int = 0) -> Row:
    """`builds` builds: the key feed and the battery at each voltage, and battery minus feed at a drop of 0 to 0.6 V."""
    inside: dict[str, list[bool]] = {}
    stated: dict[str, list[float]] = {}
    refused = 0
    for number in range(builds):
        rng = np.random.default_rng([seed, number, *model.encode()])
        build = Build(rng, MODELS[model](rng))
        lines = calibrated(build, meter, known_v)
        if lines is None:
            refused += 1
            continue
        build.moved_on()
        for what, error_v, u_v in _errors(build, lines):
            inside.setdefault(what, []).append(abs(error_v) <= u_v)
            stated.setdefault(what, []).append(u_v)
    share = {what: float(np.mean(hits)) for what, hits in inside.items()}
    return Row(model, meter.name, known_v, refused, share, {what: float(np.mean(u)) for what, u in stated.items()})


def _errors(build: Build, lines: dict[str, ChannelCalibration]) -> list[tuple[str, float, float]]:
    """(what, error, stated expanded uncertainty) of one build on its day of use."""
    found = []
    rng = build.rng
    battery, key = lines["battery"], lines["key_switch"]
    for at_v in AT_V:  # the starter's lead is off, or on the same; the battery is no lower than the feed
        codes = build.read(np.array([at_v, at_v, at_v * rng.integers(2)]))
        found.append(_of(at_v, battery, codes[0]))
        codes = build.read(np.array([max(rng.uniform(9.0, 14.0), at_v), at_v, 0.0]))
        found.append(_of(at_v, key, codes[1]))
    for high_v in rng.uniform(8.0, 14.0, DROPS):
        drop_v = rng.uniform(0.0, 0.6)
        codes = build.read(np.array([high_v, high_v - drop_v, high_v * rng.integers(2)]))
        seen_v = float(battery.volts(codes[0])) - float(key.volts(codes[1]))
        u_v = 2.0 * of_difference(high_v, battery.uncertainty, high_v - drop_v, key.uncertainty, READ)
        found.append(("drop", seen_v - drop_v, u_v))
    return found


def _of(at_v: float, line: ChannelCalibration, code: float) -> tuple[str, float, float]:
    return f"{at_v:g} V", float(line.volts(code)) - at_v, 2.0 * of_voltage(at_v, line.uncertainty, READ)


def table(rows: list[Row]) -> str:
    """Markdown: share inside the stated uncertainty, and that uncertainty in millivolts."""
    whats = [*(f"{v:g} V" for v in AT_V), "drop"]
    lines = ["| converter | meter | calibrated at | " + " | ".join(whats) + " | refused |", "|" + "---|" * (len(whats) + 4)]
    for row in rows:
        cells = [f"{row.share[w]:.1%} ({row.u_v[w] * 1e3:.0f} mV)" for w in whats]
        known = "0/" + "/".join(f"{v:g}" for v in row.known_v) + " V"
        lines.append(f"| {row.model} | {row.meter} | {known} | " + " | ".join(cells) + f" | {row.refused} |")
    return "\n".join(lines)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    every = [(model, meter, known_v) for model in MODELS for meter in METERS for known_v in POINT_SERIES]
    print(table([measure(model, meter, known_v, options.builds, options.seed) for model, meter, known_v in every]))


if __name__ == "__main__":
    main()
