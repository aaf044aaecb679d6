"""Across jobs: how a board's calibration drifts, how feed drop and crank speed spread, failures by cause."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from sqlalchemy import select

from firstcrank.jobs.listing import COUNTED
from firstcrank.jobs.schema import STARTS
from firstcrank.jobs.store import Store


@dataclass(frozen=True, slots=True)
class Spread:
    """Of one quantity over starts: count, 10 %, 50 % and 90 % points."""

    count: int
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Trends:
    """`verdicts` are overall, `feed_verdicts` the key feed's alone.

    `drift[board]`: (UTC, see StartRow.when_utc; volts per code of the battery input) in time order; spreads None without values.
    """

    verdicts: dict[str, int]
    feed_verdicts: dict[str, int]
    causes: dict[str, int]
    feed_drop_v: Spread | None
    speed_rpm: Spread | None
    feed_drops_v: tuple[float, ...]
    speeds_rpm: tuple[float, ...]
    drift: dict[str, tuple[tuple[str, float], ...]]


def trends(store: Store, synthetic: bool = False) -> Trends:
    """Over all starts that count; simulated ones only where asked for."""
    names = ("when_utc", "verdict", "feed_verdict", "cause", "feed_drop_v", "speed_rpm", "battery_gain", "board")
    query = select(*(STARTS.c[name] for name in names)).where(COUNTED).order_by(STARTS.c.when_utc)
    if not synthetic:
        query = query.where(STARTS.c.synthetic.is_(False))
    with store.engine.connect() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
    drift: dict[str, list[tuple[str, float]]] = {}
    for row in rows:
        if row["board"] and row["battery_gain"] is not None:
            drift.setdefault(row["board"], []).append((row["when_utc"], float(row["battery_gain"])))
    drops = tuple(float(row["feed_drop_v"]) for row in rows if row["feed_drop_v"] is not None)
    speeds = tuple(float(row["speed_rpm"]) for row in rows if row["speed_rpm"] is not None)
    return Trends(
        verdicts=dict(Counter(row["verdict"] for row in rows)),
        feed_verdicts=dict(Counter(row["feed_verdict"] or "not kept" for row in rows)),
        causes=dict(Counter(row["cause"] or "none named" for row in rows if row["verdict"] == "FAIL").most_common()),
        feed_drop_v=_spread(drops),
        speed_rpm=_spread(speeds),
        feed_drops_v=drops,
        speeds_rpm=speeds,
        drift={board: tuple(points) for board, points in drift.items()},
    )


def _spread(values: tuple[float, ...]) -> Spread | None:
    if not values:
        return None
    low, middle, high = (float(v) for v in np.percentile(values, [10, 50, 90]))
    return Spread(len(values), low, middle, high)
