"""All tables together, for one system voltage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import TYPE_CHECKING, TypeVar

from firstcrank.thresholds.board import BOARD, BoardThresholds
from firstcrank.thresholds.calibration import CALIBRATION, CalibrationThresholds
from firstcrank.thresholds.cause import CAUSE, CauseThresholds
from firstcrank.thresholds.charge import CHARGE, ChargeThresholds
from firstcrank.thresholds.crank import CRANK, CrankThresholds
from firstcrank.thresholds.edges import EDGES, EdgeThresholds
from firstcrank.thresholds.evidence import EVIDENCE, RUNNING, EvidenceThresholds, RunningThresholds
from firstcrank.thresholds.feed import FEED, FeedThresholds
from firstcrank.thresholds.files import FILES, FileThresholds
from firstcrank.thresholds.key import KEY, KeyThresholds
from firstcrank.thresholds.noise import NOISE, NoiseThresholds
from firstcrank.thresholds.plausible import PLAUSIBLE, PlausibleThresholds
from firstcrank.thresholds.sag import SAG, SagThresholds
from firstcrank.thresholds.signs import SIGNS, SignThresholds
from firstcrank.thresholds.speed import SPEED, SpeedThresholds
from firstcrank.thresholds.switch import SWITCH, SwitchThresholds
from firstcrank.thresholds.tracker import TRACKER, TrackerThresholds
from firstcrank.thresholds.vehicle import VEHICLE, VehicleThresholds
from firstcrank.thresholds.visit import VISIT, VisitThresholds

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Table = TypeVar("Table", bound="DataclassInstance")


@dataclass(frozen=True, slots=True)
class Thresholds:
    """All tables, for one system voltage."""

    crank: CrankThresholds = CRANK
    sag: SagThresholds = SAG
    speed: SpeedThresholds = SPEED
    key: KeyThresholds = KEY
    feed: FeedThresholds = FEED
    edges: EdgeThresholds = EDGES
    evidence: EvidenceThresholds = EVIDENCE
    plausible: PlausibleThresholds = PLAUSIBLE
    noise: NoiseThresholds = NOISE
    running: RunningThresholds = RUNNING
    vehicle: VehicleThresholds = VEHICLE
    charge: ChargeThresholds = CHARGE
    cause: CauseThresholds = CAUSE
    switch: SwitchThresholds = SWITCH
    tracker: TrackerThresholds = TRACKER
    signs: SignThresholds = SIGNS
    visit: VisitThresholds = VISIT
    calibration: CalibrationThresholds = CALIBRATION
    board: BoardThresholds = BOARD
    files: FileThresholds = FILES


def _scaled(table: Table, scale: float) -> Table:
    return replace(table, **{f.name: getattr(table, f.name) * scale for f in fields(table) if f.metadata["scales"]})


@cache
def thresholds_for(system_v: int) -> Thresholds:
    """The tables for a 12 or 24 V system: a voltage doubles at 24 V, but where its row says that it is the same."""
    at_12_v = Thresholds()
    return replace(at_12_v, **{f.name: _scaled(getattr(at_12_v, f.name), system_v / 12.0) for f in fields(at_12_v)})


def rows(thresholds: Thresholds) -> Iterator[tuple[str, float, str, str]]:
    """(name, value, unit, meaning) of every threshold, for printing."""
    for group in fields(thresholds):
        table = getattr(thresholds, group.name)
        for entry in fields(table):
            unit = str(entry.metadata["unit"])
            yield f"{group.name}.{entry.name}", float(getattr(table, entry.name)), unit, str(entry.metadata["meaning"])
