"""Starts by name: healthy ones, every fault, and the ways in which a recording goes wrong.

A name and a seed are one start, always the same. The vehicle is invented: an old farm pickup called Marigold, into which
somebody has wired an electronically controlled diesel. Which verdict to expect follows from its circuit: see grading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from firstcrank.errors import UsageError
from firstcrank_sim.scenarios import evidence, feed, power
from firstcrank_sim.vehicle.plan import Plan, Rng, feed_open, healthy_plan
from firstcrank_sim.vehicle.power_circuit import solve
from firstcrank_sim.vehicle.truth import Truth, build

Builder = Callable[[Rng], Plan]
PASS, FAIL, NO_VERDICT = "PASS", "FAIL", "NO VERDICT"
OTHER_FAULTS = (  # causes beside the feed that make the overall verdict a FAIL
    "starter_control_drop",
    "heater_reversed",
    "heater_feed_low",
    "heater_loose",
    "backfeed_after_off",
    "module_supply_drop",
    "no_charge",
)


@dataclass(frozen=True, slots=True)
class Scenario:
    """`expected`: the key feed's verdict as a rule. `cause`: id of its true cause, None where nothing is wrong."""

    name: str
    line: str
    expected: str
    build: Builder
    cause: str | None = None
    system_v: int = 12
    vehicle_of: str = ""  # scenarios that name the same one share vehicle and key schedule, seed by seed

    @property
    def overall(self) -> str:
        """The verdict on the whole vehicle, with every lead clipped on that shows the fault and the answers given."""
        return FAIL if self.cause in OTHER_FAULTS else self.expected


def healthy(rng: Rng) -> Plan:
    """All well."""
    return healthy_plan(rng)


def feed_dead_in_start_24v(rng: Rng) -> Plan:
    """The trap on a 24 V vehicle."""
    return feed.feed_dead_in_start(rng, 24)


def feed_sags_in_start_24v(rng: Rng) -> Plan:
    """A burnt START contact on a 24 V vehicle."""
    return feed.feed_sags_in_start(rng, 24)


def feed_resistance_24v(rng: Rng) -> Plan:
    """A corroded joint in the feed of a 24 V vehicle."""
    return feed.feed_resistance(rng, 24)


def heater_then_crank(rng: Rng) -> Plan:
    """The intake heater is on before the crank: all well, its own leads not clipped on."""
    return healthy_plan(rng, heater=True)


def marigold_trap(rng: Rng) -> Plan:
    """Marigold before the repair: the module's feed dies as the key goes to START."""
    plan = healthy_plan(rng, crank_s=3.6, warm=True)
    s = plan.schedule
    return feed_open(plan, (0.5 * (s.leave_s + s.start_s), 0.5 * (s.open_s + s.back_s)))


def marigold_repaired(rng: Rng) -> Plan:
    """Marigold after the repair: the same pickup, the feed on a terminal that is live with KEY ON and in START."""
    return healthy_plan(rng, crank_s=3.6, warm=True)


_TABLE: tuple[tuple[Builder, str, str | None, int], ...] = (
    (healthy, PASS, None, 12),
    (feed.feed_dead_in_start, FAIL, "feed_dead_in_start", 12),
    (feed.feed_sags_in_start, FAIL, "feed_dead_in_start", 12),
    (feed.chatter_in_start, FAIL, "feed_dead_in_start", 12),
    (feed.feed_from_start_terminal, FAIL, "feed_from_start_terminal", 12),
    (feed.feed_lost_at_turn, FAIL, "feed_lost_at_turn", 12),
    (feed.feed_lost_at_release, FAIL, "feed_lost_at_turn", 12),
    (feed.feed_relay, FAIL, "feed_relay", 12),
    (feed.relay_good, PASS, None, 12),
    (feed.feed_ballast, FAIL, "feed_ballast", 12),
    (feed.feed_resistance, FAIL, "feed_resistance", 12),
    (feed.feed_loose, FAIL, "feed_loose", 12),
    (feed.loose_everywhere, FAIL, "feed_loose", 12),
    (feed.one_dropout, FAIL, "feed_loose", 12),
    (feed.short_glitch, PASS, None, 12),
    (feed.turn_bounce, PASS, None, 12),
    (feed.fuse_blown, NO_VERDICT, "fuse_or_link", 12),
    (feed.fuse_out, NO_VERDICT, "fuse_or_link", 12),
    (power.loaded_good, PASS, None, 12),
    (power.battery_weak, FAIL, "battery_weak", 12),
    (power.battery_cable, FAIL, "battery_cable", 12),
    (power.ground_engine, FAIL, "ground_path", 12),
    (power.ground_module, FAIL, "ground_path", 12),
    (power.grounds_good, PASS, None, 12),
    (power.starter_control_drop, PASS, "starter_control_drop", 12),
    (power.starter_control_good, PASS, None, 12),
    (power.heater_good, PASS, None, 12),
    (power.heater_reversed, PASS, "heater_reversed", 12),
    (power.heater_feed_low, PASS, "heater_feed_low", 12),
    (power.heater_loose, PASS, "heater_loose", 12),
    (power.backfeed_after_off, PASS, "backfeed_after_off", 12),
    (power.off_good, PASS, None, 12),
    (power.module_supply_drop, PASS, "module_supply_drop", 12),
    (power.module_supply_good, PASS, None, 12),
    (power.no_charge, PASS, "no_charge", 12),
    (power.charging, PASS, None, 12),
    (power.slow_crank, PASS, "slow_crank", 12),
    (power.speed_good, PASS, None, 12),
    (power.uneven_compression, PASS, "uneven_compression", 12),
    (power.two_batteries, PASS, None, 12),
    (power.runs_on, PASS, None, 12),
    (power.alternator_late, PASS, None, 12),
    (power.heater_goes_on, PASS, None, 12),
    (power.quick_start, PASS, None, 12),
    (heater_then_crank, PASS, None, 12),
    (feed.feed_dead_and_weak_battery, FAIL, "feed_dead_in_start", 12),
    (feed.resistance_and_loose, FAIL, "feed_resistance", 12),
    (evidence.heater_only, NO_VERDICT, None, 12),
    (evidence.key_only, NO_VERDICT, None, 12),
    (evidence.key_never_off, NO_VERDICT, None, 12),
    (evidence.bumped_key_off, NO_VERDICT, None, 12),
    (evidence.one_sweep, NO_VERDICT, None, 12),
    (evidence.remote_switch, NO_VERDICT, None, 12),
    (evidence.starter_bridged, NO_VERDICT, None, 12),
    (evidence.short_crank, NO_VERDICT, None, 12),
    (evidence.stopped_early, NO_VERDICT, None, 12),
    (evidence.clip_moved, NO_VERDICT, None, 12),
    (evidence.bins_lost, NO_VERDICT, None, 12),
    (evidence.module_unplugged, NO_VERDICT, None, 12),
    (evidence.dead_lead, NO_VERDICT, None, 12),
    (evidence.leads_exchanged, NO_VERDICT, None, 12),
    (evidence.both_on_battery, NO_VERDICT, None, 12),
    (evidence.back_fed, NO_VERDICT, None, 12),
    (power.healthy_24v, PASS, None, 24),
    (feed_dead_in_start_24v, FAIL, "feed_dead_in_start", 24),
    (feed_sags_in_start_24v, FAIL, "feed_dead_in_start", 24),
    (feed_resistance_24v, FAIL, "feed_resistance", 24),
)

SCENARIOS: dict[str, Scenario] = {
    build.__name__: Scenario(build.__name__, (build.__doc__ or "").strip(), expected, build, cause, system_v)
    for build, expected, cause, system_v in _TABLE
}
SCENARIOS |= {
    build.__name__: Scenario(build.__name__, (build.__doc__ or "").strip(), expected, build, cause, 12, "marigold")
    for build, expected, cause in (
        (marigold_trap, FAIL, "feed_dead_in_start"),
        (marigold_repaired, PASS, None),
    )
}


def simulate(name: str, seed: int = 1) -> Truth:
    """The start of that name and seed. Raises UsageError where there is no scenario of that name."""
    return simulate_many([(name, seed)])[0]


def simulate_many(starts: Sequence[tuple[str, int]]) -> list[Truth]:
    """Many starts in one call of the solver: far cheaper for each than one by one. Order is kept."""
    plans = []
    for name, seed in starts:
        if name not in SCENARIOS:
            raise UsageError(f"there is no scenario called {name!r}; 'firstcrank scenarios' lists them")
        scenario = SCENARIOS[name]
        plans.append(scenario.build(np.random.default_rng([seed, *(scenario.vehicle_of or name).encode()])))
    solved = solve([p.vehicle for p in plans], [p.schedule for p in plans], np.array([p.angle for p in plans]))
    return [
        build(name, seed, plan, one, SCENARIOS[name].expected, SCENARIOS[name].cause)
        for (name, seed), plan, one in zip(starts, plans, solved, strict=True)
    ]
