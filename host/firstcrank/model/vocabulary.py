"""The words of a judgement as enums: phases of a start, ids of checks and obligations, results, verdicts.

Values are what `--json` and the record store hold and do not change.
"""

from __future__ import annotations

from enum import StrEnum


class Phase(StrEnum):
    """What the key and the starter do."""

    KEY_OFF = "key off"
    KEY_ON = "key on"
    TURN = "key turn"
    CRANK = "crank"
    RELEASE = "release"
    AFTER = "after"


LIVE_PHASES = (Phase.KEY_ON, Phase.TURN, Phase.CRANK, Phase.RELEASE, Phase.AFTER)


class Result(StrEnum):
    """Outcome of one check. UNDECIDED: the value lies too close to its limit, or the evidence for it is missing."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"
    UNDECIDED = "no verdict"
    NOT_MEASURED = "not measured"


class Verdict(StrEnum):
    """The answer."""

    PASS = "PASS"
    FAIL = "FAIL"
    NO_VERDICT = "NO VERDICT"


class Scope(StrEnum):
    """What a check speaks of: the evidence, the key feed, the supply behind it, or something else of the vehicle."""

    EVIDENCE = "evidence"
    FEED = "feed"
    SUPPLY = "supply"
    OTHER = "other"


class CheckId(StrEnum):
    """Every check. Those of the evidence and of the feed are obligations: a PASS needs each of them discharged."""

    # evidence
    RECORDING_KIND = "recording_kind"
    RECORDING_INTACT = "recording_intact"
    CALIBRATED = "calibrated"
    READABLE = "readable"
    RECORDING_CLOSED = "recording_closed"
    NOTHING_MISSING = "nothing_missing"
    SAMPLED_FINELY = "sampled_finely"
    WITHIN_RANGE = "within_range"
    PLAUSIBLE = "plausible"
    SYSTEM_VOLTAGE = "system_voltage"
    LEADS_IN_PLACE = "leads_in_place"
    LEADS_APART = "leads_apart"
    CLIPS_STILL = "clips_still"
    OWN_KEY = "own_key"
    MODULE_PLUGGED = "module_plugged"
    KEY_SEEN_DEAD = "key_seen_dead"
    KEY_LIVE_BEFORE = "key_live_before"
    KEY_HELD_AFTER = "key_held_after"
    CRANK_SEEN = "crank_seen"
    CRANK_LONG_ENOUGH = "crank_long_enough"
    CRANK_BY_STARTER = "crank_by_starter"
    # the feed and its supply
    FEED_DROPOUT = "key_feed_dropout"
    FEED_SHORT_LOSSES = "key_feed_short_losses"
    FEED_DROP_STEADY = "key_feed_drop_steady"
    FEED_DROP_BRIEF = "key_feed_drop_brief"
    FEED_ABOVE_SOURCE = "key_feed_above_source"
    FEED_CHATTER = "key_feed_chatter"
    SUPPLY_MINIMUM = "battery_minimum"
    # the vehicle beside it
    BATTERY_REST = "battery_rest"
    BATTERY_CRANK = "battery_crank"
    BATTERY_CHARGER = "battery_charger"
    BATTERY_RECOVERY = "battery_recovery"
    CRANK_SPEED = "crank_speed"
    CRANK_EVENNESS = "crank_evenness"
    STARTER_CONTROL_DROP = "starter_control_drop"
    HEATER_VOLTAGE = "heater_voltage"
    HEATER_POLARITY = "heater_polarity"
    HEATER_CHATTER = "heater_chatter"
    HEATER_ON_TIME = "heater_on_time"
    MODULE_SUPPLY_MINIMUM = "module_supply_minimum"
    MODULE_SUPPLY_DROP = "module_supply_drop"
    MODULE_SUPPLY_LOOP = "module_supply_loop"
    GROUND_RISE_MODULE = "ground_rise.module_ground"
    GROUND_RISE_ENGINE = "ground_rise.engine_ground"
    KEY_OFF_DECAY = "key_off_decay"
    CHARGING = "charging"


_FIRST_OF = {
    Scope.EVIDENCE: CheckId.RECORDING_KIND,
    Scope.FEED: CheckId.FEED_DROPOUT,
    Scope.SUPPLY: CheckId.SUPPLY_MINIMUM,
    Scope.OTHER: CheckId.BATTERY_REST,
}


def _scopes() -> dict[CheckId, Scope]:
    found, scope = {}, Scope.EVIDENCE
    begins = {check: scope for scope, check in _FIRST_OF.items()}
    for check in CheckId:
        scope = begins.get(check, scope)
        found[check] = scope
    return found


_SCOPE_OF = _scopes()


def scope_of(check: CheckId) -> Scope:
    """What a check speaks of."""
    return _SCOPE_OF[check]


def beside(verdict: str, feed_verdict: str | None) -> str:
    """The overall verdict with the feed's beside it where they differ, for a list."""
    return f"{verdict} (feed {feed_verdict})" if feed_verdict and feed_verdict != verdict else verdict
