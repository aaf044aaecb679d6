"""When a calibration is too old, said once for `board check` and `record`."""

from __future__ import annotations

from datetime import date

from firstcrank.calibration import Calibration
from firstcrank.thresholds.calibration import CALIBRATION

DO = "firstcrank board calibrate"


def age_warning(calibration: Calibration, today: date) -> str | None:
    """What is wrong with the date of a measured calibration: older than a year, none, or in the future. None where all is well."""
    if calibration.kind != "measured":
        return None
    try:
        days = (today - date.fromisoformat(calibration.date[:10])).days
    except ValueError:
        return "measured, without a date"
    if days > CALIBRATION.old_days:
        return f"{days} days old ({calibration.date[:10]})"
    if days < -1:
        return f"dated {calibration.date[:10]}, which is still to come: is this computer's clock right?"
    return None
