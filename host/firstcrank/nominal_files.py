"""The nominal calibration files that ship: one for each system voltage and converter, written by the notes from their builds."""

from __future__ import annotations

from contextlib import AbstractContextManager
from importlib import resources
from pathlib import Path

from firstcrank.converters import converter

AFTER_NAME = {"rp2040": "", "rp2350": "_rp2350", "mcp3208": "_mcp3208"}


def file_name(system_v: int, behind: str) -> str:
    """Name of the file for inputs of a system that end at a converter. Raises CalibrationError for an unknown converter."""
    return f"calibration_minimal_{system_v}v{AFTER_NAME[converter(behind).name]}.toml"


def nominal_file(system_v: int, behind: str) -> AbstractContextManager[Path]:
    """That file as a path, for as long as it is needed."""
    return resources.as_file(resources.files("firstcrank.data") / file_name(system_v, behind))
