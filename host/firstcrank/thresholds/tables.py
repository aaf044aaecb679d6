"""All tables together, for one system voltage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import TYPE_CHECKING, TypeVar

from firstcrank.thresholds.crank import CrankThresholds
from firstcrank.thresholds.evidence import EvidenceThresholds, RunningThresholds
from firstcrank.thresholds.feed import FeedThresholds
from firstcrank.thresholds.key import KeyThresholds
from firstcrank.thresholds.tracker import TrackerThresholds
from firstcrank.thresholds.vehicle import VehicleThresholds

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Table = TypeVar("Table", bound="DataclassInstance")


@dataclass(frozen=True, slots=True)
class Thresholds:
    """All tables, for one system voltage."""

    crank: CrankThresholds = field(default_factory=CrankThresholds)
    key: KeyThresholds = field(default_factory=KeyThresholds)
    feed: FeedThresholds = field(default_factory=FeedThresholds)
    evidence: EvidenceThresholds = field(default_factory=EvidenceThresholds)
    running: RunningThresholds = field(default_factory=RunningThresholds)
    vehicle: VehicleThresholds = field(default_factory=VehicleThresholds)
    tracker: TrackerThresholds = field(default_factory=TrackerThresholds)


def _scaled(table: Table, scale: float) -> Table:
    return replace(table, **{f.name: getattr(table, f.name) * scale for f in fields(table) if f.metadata["scales"]})


@cache
def thresholds_for(system_v: int) -> Thresholds:
    """The tables for a 12 or 24 V system: every voltage doubles at 24 V."""
    at_12_v = Thresholds()
    return replace(at_12_v, **{f.name: _scaled(getattr(at_12_v, f.name), system_v / 12.0) for f in fields(at_12_v)})


def rows(thresholds: Thresholds) -> Iterator[tuple[str, float, str, str]]:
    """(name, value, unit, meaning) of every threshold, for printing."""
    for group in fields(thresholds):
        table = getattr(thresholds, group.name)
        for entry in fields(table):
            unit = str(entry.metadata["unit"])
            yield f"{group.name}.{entry.name}", float(getattr(table, entry.name)), unit, str(entry.metadata["meaning"])
