"""Across jobs: how a board's calibration drifts, how feed drop, crank voltage and crank speed spread, failures by cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypedDict, TypeVarTuple, cast

import numpy as np
from sqlalchemy import Select, select

from firstcrank.jobs.folding import folded, search_text
from firstcrank.jobs.listing import every_job
from firstcrank.jobs.schema import ANONYMOUS_STARTS, COUNTED, STARTS, StoreTable
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import day_range

NAMES = (
    "when_utc", "verdict", "feed_verdict", "cause", "feed_drop_v", "speed_rpm", "crank_v", "system_v", "battery_gain", "board",
)  # fmt: skip
Columns = TypeVarTuple("Columns")
MOST_MONTHS = 24  # with more of them the periods are years


class TrendRow(TypedDict):
    """What is read of each start: NAMES."""

    when_utc: str
    verdict: str
    feed_verdict: str
    cause: str
    feed_drop_v: float | None
    speed_rpm: float | None
    crank_v: float | None
    system_v: int | None
    battery_gain: float | None
    board: str


@dataclass(frozen=True, slots=True)
class Spread:
    """Of one quantity over starts: count, 10 %, 50 % and 90 % points."""

    count: int
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Choice:
    """Which starts: of jobs that a search finds (vehicle, customer, any word), of a board, of a technician, of some days (times.py)."""

    find: str = ""
    board: str = ""
    technician: str = ""
    first_day: str = ""
    last_day: str = ""


@dataclass(frozen=True, slots=True)
class Period:
    """A month, or a year where there are many: starts, those that failed, middles in volts and rpm (None without values).

    `crank_v` is of the starts at the system voltage that most of all starts have (Trends.system_v).
    """

    name: str
    starts: int
    failed: int
    feed_drop_v: float | None
    speed_rpm: float | None
    crank_v: float | None = None


@dataclass(frozen=True, slots=True)
class Trends:
    """`verdicts` are overall, `feed_verdicts` the key feed's alone.

    `drift[board]`: (UTC, see StartRow.when_utc; volts per code of the battery input) in time order; spreads None without values.
    `crank_v[system voltage]`: the battery's means while cranking, volts; 0 where the system's voltage was not kept.
    """

    verdicts: dict[str, int]
    feed_verdicts: dict[str, int]
    causes: dict[str, int]
    feed_drop_v: Spread | None
    speed_rpm: Spread | None
    feed_drops_v: tuple[float, ...]
    speeds_rpm: tuple[float, ...]
    drift: dict[str, tuple[tuple[str, float], ...]]
    periods: tuple[Period, ...] = ()
    crank_v: dict[int, tuple[float, ...]] = field(default_factory=dict)

    @property
    def system_v(self) -> int:
        """The system voltage of most starts with a crank voltage; 0 where there is none."""
        return max(self.crank_v, key=lambda system: len(self.crank_v[system]), default=0)

    def changes(self) -> list[tuple[str, float]]:
        """(board, change of its calibration in per cent from its first start to its last), the largest first."""
        found = [(board, (points[-1][1] / points[0][1] - 1.0) * 100.0) for board, points in self.drift.items()]
        return sorted(found, key=lambda one: (-abs(one[1]), one[0]))


def trends(store: Store, synthetic: bool = False, choice: Choice | None = None) -> Trends:
    """Over all starts that count, or those chosen; simulated ones only where asked for. Raises UsageError for a day that is none."""
    rows = _rows(store, synthetic, choice or Choice())
    drift: dict[str, list[tuple[str, float]]] = {}
    for row in rows:
        if row["board"] and row["battery_gain"] is not None:
            drift.setdefault(row["board"], []).append((row["when_utc"], float(row["battery_gain"])))
    drops = tuple(float(row["feed_drop_v"]) for row in rows if row["feed_drop_v"] is not None)
    speeds = tuple(float(row["speed_rpm"]) for row in rows if row["speed_rpm"] is not None)
    cranking: dict[int, list[float]] = {}
    for row in rows:
        if row["crank_v"] is not None:
            cranking.setdefault(row["system_v"] or 0, []).append(float(row["crank_v"]))
    found = Trends(
        verdicts=dict(Counter(row["verdict"] for row in rows)),
        feed_verdicts=dict(Counter(row["feed_verdict"] or "not kept" for row in rows)),
        causes=dict(Counter(row["cause"] or "none named" for row in rows if row["verdict"] == "FAIL").most_common()),
        feed_drop_v=spread(drops),
        speed_rpm=spread(speeds),
        feed_drops_v=drops,
        speeds_rpm=speeds,
        drift={board: tuple(points) for board, points in drift.items()},
        crank_v={system: tuple(values) for system, values in sorted(cranking.items())},
    )
    return replace(found, periods=_periods(rows, found.system_v))


def _rows(store: Store, synthetic: bool, choice: Choice) -> list[TrendRow]:
    """By time. Figures kept of forgotten starts stand at the begin of their month, and count where no job is asked for."""
    tables = [STARTS] if choice.find.strip() or choice.technician else [STARTS, ANONYMOUS_STARTS]
    rows: list[TrendRow] = []
    with store.engine.connect() as connection:
        for table in tables:
            query = select(*(table.c[name] for name in NAMES))
            if table is STARTS:
                query = query.where(COUNTED)
            if not synthetic:
                query = query.where(table.c.synthetic.is_(False))
            query = _chosen(store, query, choice, table)
            rows += [cast(TrendRow, dict(row)) for row in connection.execute(query.order_by(table.c.when_utc)).mappings()]
    return sorted(rows, key=lambda row: str(row["when_utc"]))


def _chosen(store: Store, query: Select[*Columns], choice: Choice, table: StoreTable) -> Select[*Columns]:
    begin, end = day_range(choice.first_day, choice.last_day)
    if begin:
        query = query.where(table.c.when_utc >= begin)
    if end:
        query = query.where(table.c.when_utc < end)
    if choice.board:
        query = query.where(table.c.board.contains(choice.board, autoescape=True))
    if choice.technician:
        query = query.where(STARTS.c.job_id.in_(_jobs(store, choice.technician, "technician")))
    if choice.find.strip():
        query = query.where(STARTS.c.job_id.in_(_jobs(store, choice.find)))
    return query


def _jobs(store: Store, find: str, field: str = "") -> list[int]:
    """Ids of the jobs that a search finds; with `field` those that have every word in this field."""
    wanted = [way for word in find.split() for way in folded(word)[:1]]
    found = every_job(store, find)
    return [job["id"] for job in found if not field or all(w in search_text([str(job["technician"])]) for w in wanted)]


def _periods(rows: Sequence[TrendRow], system_v: int) -> tuple[Period, ...]:
    months = {str(row["when_utc"])[:7] for row in rows}
    digits = 7 if len(months) <= MOST_MONTHS else 4
    groups: dict[str, list[TrendRow]] = {}
    for row in rows:
        groups.setdefault(str(row["when_utc"])[:digits], []).append(row)
    return tuple(
        Period(
            name,
            len(group),
            sum(row["verdict"] == "FAIL" for row in group),
            _middle([row["feed_drop_v"] for row in group]),
            _middle([row["speed_rpm"] for row in group]),
            _middle([row["crank_v"] for row in group if (row["system_v"] or 0) == system_v]),
        )
        for name, group in sorted(groups.items())
    )


def _middle(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.median(known)) if known else None


def spread(values: tuple[float, ...]) -> Spread | None:
    """Of some values; None where there are none."""
    if not values:
        return None
    low, middle, high = (float(v) for v in np.percentile(values, [10, 50, 90]))
    return Spread(len(values), low, middle, high)
