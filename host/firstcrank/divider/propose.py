"""Proposes networks from standard values that meet all requirements, best first; where none does, says which requirements conflict."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import combinations

from firstcrank.extras import extra_packages

with extra_packages("design"):
    import eseries

from firstcrank.clamps import BAV199, Clamp
from firstcrank.divider.converters import RP2040, Converter
from firstcrank.divider.network import Network
from firstcrank.divider.pulses import pulses
from firstcrank.divider.stress import Ratings, Stress, stress, survives_at_worst
from firstcrank.errors import FirstcrankError, UsageError

SERIES = {name: getattr(eseries, name) for name in ("E3", "E6", "E12", "E24", "E48", "E96", "E192")}
CAPACITORS = (0.0, 1e-9, 2.2e-9, 4.7e-9, 10e-9, 22e-9, 47e-9, 100e-9)
R_SERIES_OHM = 4.7e3  # to the pin: what the clamp leaves over stays below a milliampere in the chip's own protection
MOST_PARTS = 10
ADC_ACQUIRE_S = 1e-6  # a free-running converter samples for about half of its 2 us


class UnmetRequirementError(FirstcrankError):
    """No network meets all requirements, or the one given does not: relax the requirement that is named, or change the network."""

    exit_code = 5


@dataclass(frozen=True, slots=True)
class Requirements:
    """What the input must do. Volts, ohm, seconds, amperes."""

    system_v: int = 12
    highest_v: float = 18.0
    lowest_v: float = 0.0
    reference_v: float = 3.3
    source_ohm: float = 10e3  # most that the converter should see
    dropout_s: float = 100e-6  # shortest dropout to be seen
    loading_a: float = 1e-3  # most that may be taken from the circuit under test
    series: str = "E24"
    ratings: Ratings = field(default_factory=Ratings)
    clamp: Clamp = BAV199
    converter: Converter = RP2040

    def __post_init__(self) -> None:
        checks = (
            ("system", self.system_v in (12, 24), "12 or 24 V"),
            ("highest voltage", 1.0 <= self.highest_v <= 100.0, "1 to 100 V"),
            ("lowest voltage", -20.0 <= self.lowest_v <= 0.0, "-20 to 0 V"),
            ("reference", 0.5 <= self.reference_v <= 5.5, "0.5 to 5.5 V"),
            ("source impedance", self.source_ohm > 0, "above 0 ohm"),
            ("shortest dropout", self.dropout_s > 0, "above 0 s"),
            ("loading", self.loading_a > 0, "above 0 A"),
            ("series", self.series in SERIES, ", ".join(SERIES)),
            ("tolerance", 0.0 <= self.ratings.tolerance <= 0.2, "0 to 0.2"),
            ("rated power", self.ratings.power_w > 0, "above 0 W"),
            ("working voltage", self.ratings.working_v > 0, "above 0 V"),
        )
        for name, good, allowed in checks:
            if not good:
                raise UsageError(f"{name}: must be {allowed}")


@dataclass(frozen=True, slots=True)
class Proposal:
    """A network, how well it does (higher is better), and what it does not survive."""

    network: Network
    score: float
    dropout_s: float
    stresses: tuple[Stress, ...]

    @property
    def not_survived(self) -> tuple[Stress, ...]:
        """Pulses that break it."""
        return tuple(s for s in self.stresses if not s.survives)


Rule = Callable[[Network, Requirements], bool]
WITHOUT_FILTER: dict[str, Rule] = {
    "highest voltage": lambda n, w: n.full_scale_v >= 1.02 * w.highest_v and n.full_scale_v <= 1.8 * w.highest_v,
    "lowest voltage": lambda n, w: n.lowest_v <= w.lowest_v,
    "source impedance": lambda n, w: n.source_ohm <= w.source_ohm,
    "loading": lambda n, w: n.loading_a(w.highest_v) <= w.loading_a,
    "survival": lambda n, w: survives(n, w),
}
CLOSED_FORM: dict[str, Rule] = {**WITHOUT_FILTER, "shortest dropout": lambda n, w: dropout_s(n, w) <= w.dropout_s}


def survives(network: Network, requirements: Requirements) -> bool:
    """Every pulse of the system's list, its filter left out."""
    return all(survives_at_worst(network, p, requirements.ratings) for p in pulses(requirements.system_v))


def shown_v(requirements: Requirements) -> float:
    """The voltage that a budget is given at: the system's, or the highest where the input does not reach it."""
    return min(float(requirements.system_v), requirements.highest_v)


def dropout_from_v(requirements: Requirements) -> float:
    """A cranking battery, 10 V at 12 V systems, or the highest voltage of an input that does not reach it."""
    return min(10.0 * requirements.system_v / 12.0, requirements.highest_v)


def dropout_s(network: Network, requirements: Requirements) -> float:
    """Shortest square dropout seen: from `dropout_from_v` to nothing, across 0.7 of it (7 V at 12 V systems); with no
    capacitor, what the converter's own sample capacitor needs."""
    if network.c_filter_f:
        return network.shortest_dropout_s(dropout_from_v(requirements), 0.7 * dropout_from_v(requirements))
    return network.settling_s(requirements.converter.sample_f) + ADC_ACQUIRE_S


def propose(requirements: Requirements, most: int = 5) -> list[Proposal]:
    """The best networks, each surviving every pulse of its list. Raises UnmetRequirementError naming the requirements that conflict."""
    good = [
        network
        for bare in _bare(requirements)
        if all(rule(bare, requirements) for rule in WITHOUT_FILTER.values())
        for network in _filtered(bare)
        if dropout_s(network, requirements) <= requirements.dropout_s
    ]
    if not good:
        raise UnmetRequirementError(_conflict(requirements))
    good.sort(key=lambda n: -_score(n, requirements))
    different: list[Network] = []
    for network in good:
        if all(_apart(network, other) for other in different):
            different.append(network)
        if len(different) == most:
            break
    return [_proposal(network, requirements) for network in different]


def check(network: Network, requirements: Requirements) -> tuple[Proposal, tuple[str, ...]]:
    """A network the user already has, and which requirements it does not meet."""
    unmet = tuple(name for name, rule in CLOSED_FORM.items() if not rule(network, requirements))
    return _proposal(network, requirements), unmet


def _apart(one: Network, other: Network) -> bool:
    """Not the same idea twice: upper resistors at least 25 % apart."""
    return abs(math.log(one.r_top_ohm / other.r_top_ohm)) > 0.22


def _values(series: str, low_ohm: float, high_ohm: float) -> list[float]:
    return [float(v) for v in eseries.erange(SERIES[series], low_ohm, high_ohm)]


def parts_needed(requirements: Requirements) -> int:
    """How many equal parts in series keep each below its rated voltage at the worst pulse and opposite tolerances."""
    worst_v = max(abs(p.volts) for p in pulses(requirements.system_v))
    t = requirements.ratings.tolerance
    for count in range(1, MOST_PARTS + 1):
        if worst_v * (1 + t) / ((1 + t) + (count - 1) * (1 - t)) <= requirements.ratings.working_v:
            return count
    raise UnmetRequirementError(
        f"more than {MOST_PARTS} parts of {requirements.ratings.working_v:g} V would be needed against {worst_v:g} V: "
        "take parts of a higher working voltage"
    )


def _bare(requirements: Requirements) -> Iterator[Network]:
    """Networks without a capacitor: r_top in as many equal parts as the worst pulse asks for."""
    count = parts_needed(requirements)
    for part in _values(requirements.series, 1e3, 1e6 / count):
        top = part * count
        for bottom in _bottoms(requirements, top):
            for up in _ups(requirements, top):
                yield Network(top, bottom, 0.0, R_SERIES_OHM, up, requirements.reference_v, requirements.clamp, (part,) * count)


def _filtered(bare: Network) -> list[Network]:
    return [replace(bare, c_filter_f=c) for c in CAPACITORS]


def _bottoms(requirements: Requirements, top: float) -> list[float]:
    """The value that just holds the highest voltage, and the next smaller two."""
    share = requirements.reference_v / (1.02 * requirements.highest_v)
    exact = top * share / max(1.0 - share, 1e-9)
    values = [v for v in _values(requirements.series, 100.0, 1e6) if v <= exact]
    return values[-3:]


def _ups(requirements: Requirements, top: float) -> list[float]:
    """No offset resistor for inputs that stay above zero; else values that lift the lowest voltage to code 0 or above."""
    if requirements.lowest_v >= 0:
        return [0.0]
    exact = requirements.reference_v * top / -requirements.lowest_v
    values = [v for v in _values(requirements.series, 100.0, 1e7) if v <= exact]
    return values[-2:] or [0.0]


def _score(network: Network, requirements: Requirements) -> float:
    """Higher is better: range used, little for the converter to load and for a leakage to move, little current into the supply
    at the worst pulse, a filter that holds the node while the converter samples."""
    used = requirements.highest_v / network.full_scale_v
    held = 1.0 if network.c_filter_f >= 4.7e-9 else network.c_filter_f / 4.7e-9  # 1 pF must not move it by more than a code
    into_supply_a = max(abs(p.volts) for p in pulses(requirements.system_v)) / network.r_top_ohm
    return used - network.load_share(requirements.converter.input_ohm) - network.r_top_ohm / 1e6 - 2.0 * into_supply_a + held


def _proposal(network: Network, requirements: Requirements) -> Proposal:
    stresses = tuple(stress(network, pulse, requirements.ratings) for pulse in pulses(requirements.system_v))
    return Proposal(network, _score(network, requirements), dropout_s(network, requirements), stresses)


def _conflict(requirements: Requirements) -> str:
    """Which requirements leave no network together: alone, in pairs, in threes."""
    candidates = [network for bare in _bare(requirements) for network in _filtered(bare)]
    met = {name: {i for i, n in enumerate(candidates) if rule(n, requirements)} for name, rule in CLOSED_FORM.items()}
    for count in (1, 2, 3, 4):
        for names in combinations(CLOSED_FORM, count):
            left = set.intersection(*(met[name] for name in names))
            if not left:
                if count == 1:
                    return (
                        f"the requirement for {names[0]} cannot be met by any network of {requirements.series} "
                        f"values{_why(names[0], requirements)}"
                    )
                return f"these requirements conflict: {', '.join(names[:-1])} and {names[-1]}; relax one of them"
    return "the requirements conflict as a whole: relax one of them"


def _why(name: str, requirements: Requirements) -> str:
    """What a requirement that no standard network meets runs into."""
    if name == "source impedance":
        needed_a = requirements.highest_v / (requirements.source_ohm * requirements.highest_v / requirements.reference_v)
        return (
            f": {requirements.source_ohm:g} ohm would take {needed_a:.3g} A from the circuit under test, so it conflicts with "
            f"loading ({requirements.loading_a:g} A) and with survival"
        )
    if name == "shortest dropout":
        return f": the converter itself needs {ADC_ACQUIRE_S * 1e6:g} us and more, so it conflicts with every source impedance"
    return ""
