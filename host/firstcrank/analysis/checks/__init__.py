"""One row per check. A check takes the View and returns its findings; it names the leads it needs in `NEEDS`."""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.analysis.checks import (
    after_off,
    battery,
    charging,
    crank,
    heater,
    key_feed_chatter,
    key_feed_drop,
    key_feed_dropout,
    module,
    starter,
)
from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import View

Check = Callable[[View], list[Finding]]

CHECKS: tuple[Check, ...] = (
    key_feed_dropout.check,
    key_feed_drop.check_steady,
    key_feed_drop.check_brief,
    key_feed_chatter.check,
    battery.check_rest,
    battery.check_minimum,
    battery.check_crank,
    charging.check_charger,
    charging.check_recovery,
    crank.check_speed,
    crank.check_evenness,
    starter.check,
    heater.check,
    module.check_supply,
    module.check_loop,
    module.check_grounds,
    after_off.check,
    charging.check,
)

# What cannot be said without a lead: role -> plain words, listed under every verdict where the lead is absent.
NOT_MEASURED_WITHOUT: dict[str, str] = {
    "starter_coil": "starter solenoid voltage (no starter coil lead)",
    "heater_coil": "intake heater (no heater leads)",
    "module_supply": "module power feed (no module supply lead)",
    "module_ground": "module ground (no module ground lead)",
    "engine_ground": "engine ground and starter return (no engine ground lead)",
}
