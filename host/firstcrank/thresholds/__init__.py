"""Every number that decides and is no limit of the vehicle: frozen tables, scaled to the system once.

Limits (limits.py) are what a shop edits; thresholds are the method's own. `firstcrank limits show --all` prints both. Unless a
source is named they are our choice, held against simulated starts (docs/method.md). tests/host/test_numbers_in_one_place.py
looks for numbers that decide elsewhere.
"""

from firstcrank.thresholds.crank import CrankThresholds
from firstcrank.thresholds.evidence import EvidenceThresholds, RunningThresholds
from firstcrank.thresholds.feed import FeedThresholds
from firstcrank.thresholds.key import KeyThresholds
from firstcrank.thresholds.tables import Thresholds, rows, thresholds_for
from firstcrank.thresholds.tracker import TrackerThresholds
from firstcrank.thresholds.vehicle import VehicleThresholds

__all__ = [
    "CrankThresholds",
    "EvidenceThresholds",
    "FeedThresholds",
    "KeyThresholds",
    "RunningThresholds",
    "Thresholds",
    "TrackerThresholds",
    "VehicleThresholds",
    "rows",
    "thresholds_for",
]
