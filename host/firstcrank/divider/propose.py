"""Proposes networks from standard values that meet all wishes, best first; where none does, says which wishes conflict."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import combinations

import eseries

from firstcrank.divider.network import ADC_SAMPLE_F, Network
from firstcrank.divider.stress import Ratings, Stress, pulses, stress
from firstcrank.errors import UsageError

SERIES = {name: getattr(eseries, name) for name in ("E3", "E6", "E12", "E24", "E48", "E96", "E192")}
CAPACITORS = (0.0, 1e-9, 2.2e-9, 4.7e-9, 10e-9, 22e-9, 47e-9, 100e-9)
MUST_SURVIVE = ("reverse battery", "jump start", "load dump, suppressed")
ADC_ACQUIRE_S = 1e-6  # a free-running converter samples for about half of its 2 us


@dataclass(frozen=True, slots=True)
class Wishes:
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


Rule = Callable[[Network, Wishes], bool]
CLOSED_FORM: dict[str, Rule] = {
    "highest voltage": lambda n, w: n.full_scale_v >= 1.02 * w.highest_v and n.full_scale_v <= 1.8 * w.highest_v,
    "lowest voltage": lambda n, w: n.lowest_v <= w.lowest_v,
    "source impedance": lambda n, w: n.source_ohm <= w.source_ohm,
    "shortest dropout": lambda n, w: dropout_s(n, w) <= w.dropout_s,
    "loading": lambda n, w: n.loading_a(w.highest_v) <= w.loading_a,
    "survival": lambda n, w: all(stress(n, p, w.ratings).survives for p in pulses(w.system_v) if p.name in MUST_SURVIVE),
}


def dropout_s(network: Network, wishes: Wishes) -> float:
    """Shortest square dropout seen: from a cranking battery (10 V at 12 V systems) to nothing, across 7 V; with no
    capacitor, what the converter's own sample capacitor needs."""
    scale = wishes.system_v / 12.0
    if network.c_filter_f:
        return network.shortest_dropout_s(10.0 * scale, 7.0 * scale)
    return network.settling_s + ADC_ACQUIRE_S


def propose(wishes: Wishes, most: int = 5) -> list[Proposal]:
    """The best networks. Raises UsageError naming the wishes that conflict where there is none."""
    candidates = _candidates(wishes)
    good = [n for n in candidates if all(rule(n, wishes) for rule in CLOSED_FORM.values())]
    if not good:
        raise UsageError(_conflict(candidates, wishes))
    made = [_proposal(network, wishes) for network in good]
    made.sort(key=lambda p: -p.score)
    different: list[Proposal] = []
    for proposal in made:
        if all(_apart(proposal.network, other.network) for other in different):
            different.append(proposal)
        if len(different) == most:
            break
    return different


def check(network: Network, wishes: Wishes) -> tuple[Proposal, tuple[str, ...]]:
    """A network the user already has, and which wishes it does not meet."""
    unmet = tuple(name for name, rule in CLOSED_FORM.items() if not rule(network, wishes))
    return _proposal(network, wishes), unmet


def _apart(one: Network, other: Network) -> bool:
    """Not the same idea twice: upper resistors at least 25 % apart."""
    return abs(math.log(one.r_top_ohm / other.r_top_ohm)) > 0.22


def _values(series: str, low_ohm: float, high_ohm: float) -> list[float]:
    return [float(v) for v in eseries.erange(SERIES[series], low_ohm, high_ohm)]


def _candidates(wishes: Wishes) -> list[Network]:
    made: list[Network] = []
    tops = _values(wishes.series, 1e3, 1e6)
    for top in tops:
        for bottom in _bottoms(wishes, top):
            for up in _ups(wishes, top, bottom):
                for capacitor in CAPACITORS:
                    made.append(Network(top, bottom, capacitor, 0.0, up, wishes.reference_v))
    return made


def _bottoms(wishes: Wishes, top: float) -> list[float]:
    """The value that just holds the highest voltage, and the next smaller two."""
    share = wishes.reference_v / (1.02 * wishes.highest_v)
    exact = top * share / max(1.0 - share, 1e-9)
    values = [v for v in _values(wishes.series, 100.0, 1e6) if v <= exact]
    return values[-3:]


def _ups(wishes: Wishes, top: float, bottom: float) -> list[float]:
    """No offset resistor for inputs that stay above zero; else values that lift the lowest voltage to code 0 or above."""
    if wishes.lowest_v >= 0:
        return [0.0]
    exact = wishes.reference_v * top / -wishes.lowest_v
    values = [v for v in _values(wishes.series, 100.0, 1e7) if v <= exact]
    return values[-2:] or [0.0]


def _proposal(network: Network, wishes: Wishes) -> Proposal:
    stresses = tuple(stress(network, pulse, wishes.ratings) for pulse in pulses(wishes.system_v))
    resolution = wishes.highest_v / network.full_scale_v
    survived = sum(s.survives for s in stresses) / len(stresses)
    impedance = 1.0 - network.load_share
    calm = dropout_s(network, wishes) / wishes.dropout_s if network.c_filter_f else 0.0  # as much filter as the wish allows
    return Proposal(network, resolution + 2.0 * survived + impedance + 0.5 * calm, dropout_s(network, wishes), stresses)


def _conflict(candidates: list[Network], wishes: Wishes) -> str:
    """Which wishes leave nothing together: alone, in pairs, in threes."""
    met = {name: {i for i, n in enumerate(candidates) if rule(n, wishes)} for name, rule in CLOSED_FORM.items()}
    for count in (1, 2, 3, 4):
        for names in combinations(CLOSED_FORM, count):
            left = set.intersection(*(met[name] for name in names))
            if not left:
                if count == 1:
                    return f"the wish for {names[0]} cannot be met by any network of {wishes.series} values{_why(names[0], wishes)}"
                return f"these wishes conflict: {', '.join(names[:-1])} and {names[-1]}; relax one of them"
    return "the wishes conflict as a whole: relax one of them"


def _why(name: str, wishes: Wishes) -> str:
    """What a wish that no standard network meets runs into."""
    if name == "source impedance":
        needed_a = wishes.highest_v / (wishes.source_ohm * wishes.highest_v / wishes.reference_v)
        return (
            f": {wishes.source_ohm:g} ohm would take {needed_a:.3g} A from the circuit under test, so it conflicts with "
            f"loading ({wishes.loading_a:g} A) and with survival"
        )
    if name == "shortest dropout":
        return f": the converter itself needs {ADC_ACQUIRE_S * 1e6:g} us and more, so it conflicts with every source impedance"
    return ""


SAMPLE_NOTE = f"the converter's sample capacitor is taken as {ADC_SAMPLE_F * 1e12:g} pF (from memory)"
