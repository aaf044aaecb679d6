"""Which faults come first where several were found, and after which of them the engine must not be cranked again."""

from __future__ import annotations

from firstcrank.model.vocabulary import CheckId

DROP_CHECKS = (CheckId.FEED_DROP_STEADY, CheckId.FEED_DROP_BRIEF)
# Other faults, worst first: what destroys a part, then what stops the engine, then the rest.
FAULT_ORDER = (
    CheckId.HEATER_POLARITY,
    CheckId.MODULE_SUPPLY_MINIMUM,
    CheckId.MODULE_SUPPLY_LOOP,
    CheckId.MODULE_SUPPLY_DROP,
    CheckId.GROUND_RISE_MODULE,
    CheckId.GROUND_RISE_ENGINE,
    CheckId.KEY_OFF_DECAY,
    CheckId.STARTER_CONTROL_DROP,
    CheckId.HEATER_VOLTAGE,
    CheckId.HEATER_CHATTER,
    CheckId.CHARGING,
)
DO_NOT_CRANK = (CheckId.HEATER_POLARITY, CheckId.MODULE_SUPPLY_MINIMUM)
