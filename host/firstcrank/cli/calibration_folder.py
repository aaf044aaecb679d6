"""Where this computer keeps its copies of calibrations."""

from __future__ import annotations

from pathlib import Path


def calibration_folder() -> Path:
    """In the user's data folder, as the platform has it."""
    from platformdirs import user_data_path

    return user_data_path("firstcrank", appauthor=False) / "calibrations"
