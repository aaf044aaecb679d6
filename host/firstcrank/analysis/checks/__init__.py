"""Checks of the vehicle beside the feed, one row each. A check takes the View and returns its findings.

None bears on the feed's verdict; a fault that one finds makes the overall verdict a FAIL.
"""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.analysis.checks import after_off, battery, charging, chatter, crank, heater, module, starter
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding

Check = Callable[[View], list[Finding]]

CHECKS: tuple[Check, ...] = (
    chatter.check,
    battery.check_rest,
    battery.check_crank,
    charging.check_charger,
    charging.check_recovery,
    crank.check_speed,
    crank.check_evenness,
    starter.check,
    heater.check,
    module.check_minimum,
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
