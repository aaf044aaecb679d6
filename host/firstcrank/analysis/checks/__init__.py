"""Checks of the vehicle beside the feed, one row each. A check takes the View and returns its findings.

None bears on the feed's verdict; a fault that one finds makes the overall verdict a FAIL.
"""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.analysis.checks import after_off, battery, charging, chatter, crank, heater, module, starter
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.role_properties import PROPERTIES

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
NOT_MEASURED_WITHOUT = {role: own.without for role, own in PROPERTIES.items() if own.without}
