"""All families by name, each with how often it is drawn when no family is asked for."""

from __future__ import annotations

from collections.abc import Callable

from numpy.random import Generator

from tests.strangers import faults_else, faults_feed, no_cranks, odd_evidence, odd_loggers
from tests.strangers.plan import Plan
from tests.strangers.sound import sound_start

Make = Callable[[Generator, int, str], Plan]


def _sound(**options: object) -> Make:
    def make(rng: Generator, seed: int, family: str) -> Plan:
        return sound_start(rng, seed, family, **options)  # type: ignore[arg-type]

    return make


SOUND: dict[str, tuple[Make, float]] = {
    "sound": (_sound(), 2.4),
    "sound_heater": (_sound(with_heater=True), 1.6),
    "sound_no_lead": (_sound(lead=False), 1.5),
    "quick_lead": (_sound(quick=True, lead=True, reported=True, cranks=1), 1.6),
    "quick_no_lead": (_sound(quick=True, lead=False, reported=True, cranks=1), 1.5),
}
FEED: dict[str, tuple[Make, float]] = {
    "dead_in_start": (faults_feed.dead_in_start, 1.0),
    "lost_at_turn": (faults_feed.lost_at_turn, 1.0),
    "single_loss": (faults_feed.single_loss, 1.3),
    "chatter": (faults_feed.chatter, 1.0),
    "spikes": (faults_feed.spikes, 1.0),
    "crackle": (faults_feed.crackle, 1.0),
    "short_losses": (faults_feed.short_losses, 1.0),
    "steady_drop": (faults_feed.steady_drop, 1.2),
    "brief_drop": (faults_feed.brief_drop, 1.0),
    "sinking": (faults_feed.sinking, 1.0),
    "held_low": (faults_feed.held_low, 1.0),
    "from_start_terminal": (faults_feed.from_start_terminal, 1.0),
    "relay_lets_go": (faults_feed.relay_lets_go, 1.0),
    "ballast": (faults_feed.ballast, 1.0),
    "backfeed": (faults_feed.backfeed, 1.0),
    "lost_between": (faults_feed.lost_between, 1.0),
}
ELSE: dict[str, tuple[Make, float]] = {
    "weak_battery": (faults_else.weak_battery, 1.0),
    "inrush_dip": (faults_else.inrush_dip, 1.0),
    "cable": (faults_else.cable, 1.0),
    "module_supply": (faults_else.module_supply, 1.0),
    "module_ground": (faults_else.module_ground, 1.0),
    "engine_ground": (faults_else.engine_ground, 1.0),
    "heater_fault": (faults_else.heater_fault, 1.0),
    "starter_control": (faults_else.starter_control, 1.0),
    "no_charge": (faults_else.no_charge, 1.0),
}
EVIDENCE: dict[str, tuple[Make, float]] = {
    "swapped": (odd_evidence.swapped, 1.0),
    "one_post": (odd_evidence.one_post, 1.0),
    "lead_off": (odd_evidence.lead_off, 1.0),
    "lead_moved": (odd_evidence.lead_moved, 1.0),
    "ground_moved": (odd_evidence.ground_moved, 1.0),
    "clipped": (odd_evidence.clipped, 1.0),
    "hole": (odd_evidence.hole, 1.0),
    "notes_damaged": (odd_evidence.notes_damaged, 1.0),
    "torn": (odd_evidence.torn, 1.0),
    "late": (odd_evidence.late, 1.0),
    "key_never_off": (odd_evidence.key_never_off, 1.0),
    "too_short": (odd_evidence.too_short, 1.0),
    "remote_switch": (odd_evidence.remote_switch, 1.0),
    "bridged": (odd_evidence.bridged, 1.0),
    "charger": (odd_evidence.charger, 1.0),
    "unplugged": (odd_evidence.unplugged, 1.0),
    "aborted_helped": (odd_evidence.aborted_helped, 1.0),
    "csv_slow": (odd_loggers.csv_slow, 1.0),
    "csv_held": (odd_loggers.csv_held, 1.0),
    "csv_repeated": (odd_loggers.csv_repeated, 1.0),
    "csv_frozen": (odd_loggers.csv_frozen, 1.0),
    "csv_8bit": (odd_loggers.csv_8bit, 1.0),
    "csv_flat_top": (odd_loggers.csv_flat_top, 1.0),
    "common_mode": (odd_loggers.common_mode, 1.0),
}
NO_CRANK: dict[str, tuple[Make, float]] = {
    "heater_once": (no_cranks.heater_once, 1.0),
    "heater_cycles": (no_cranks.heater_cycles, 1.0),
    "jump_clip": (no_cranks.jump_clip, 1.0),
    "headlights": (no_cranks.headlights, 1.0),
    "fan": (no_cranks.fan, 1.0),
    "locked_out": (no_cranks.locked_out, 1.0),
    "switch_test": (no_cranks.switch_test, 1.0),
    "steady_ripple": (no_cranks.steady_ripple, 1.0),
}
FAMILIES: dict[str, tuple[Make, float]] = {**SOUND, **FEED, **ELSE, **EVIDENCE, **NO_CRANK}
NAMES = tuple(FAMILIES)
