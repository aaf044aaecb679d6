"""Values of a start that got a column of their own later, read out of the judgement and limits kept with it. Nothing is guessed."""

from __future__ import annotations

import json

SYSTEMS_V = (12, 24)


def crank_v_kept(judgement_json: str) -> float | None:
    """The battery's mean while cranking, volts, in a kept judgement of schema 1 or 2; None where it is not in it."""
    try:
        findings = json.loads(judgement_json)["findings"]
        found = [f["measured"] for f in findings if f["check"] == "battery_crank" and f.get("unit") == "V"]
    except (ValueError, KeyError, TypeError):
        return None
    values = [float(value) for value in found if isinstance(value, int | float)]
    return values[0] if values else None


def system_v_kept(limits_json: str) -> int | None:
    """The system's voltage of the limits kept with a start; None where they do not say it."""
    try:
        found = json.loads(limits_json)["system_v"]
    except (ValueError, KeyError, TypeError):
        return None
    return int(found) if found in SYSTEMS_V else None
