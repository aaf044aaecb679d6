"""What the record knows of a vehicle from its earlier starts, for the next one: what was answered once need not be typed again."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import cast

from sqlalchemy import or_, select

from firstcrank.jobs.folding import joined
from firstcrank.jobs.records import find_job
from firstcrank.jobs.schema import COUNTED, JOBS, STARTS
from firstcrank.jobs.store import Store
from firstcrank.model.context import Answers

# Belongs to the vehicle and stays. The rest can have changed. A test load above all: with none fitted its ohms would make any supply good.
STAYS = ("feed_kind", "cylinders", "hold_on_s")
SHIPPED = "shipped "  # how the name of limits of ours begins
MOST = 20  # starts looked through


@dataclass(frozen=True, slots=True)
class Known:
    """What earlier starts of a vehicle teach for the next.

    Attributes:
        start: The newest start that this is from, None where the record knows nothing.
        answers: By name (model/context.py).
        system_v: 12 or 24, volts; None where the record knows nothing.
        own_limits: The name of limits that were not the shipped ones; empty where they were.
    """

    start: int | None = None
    answers: Answers = field(default_factory=Answers)
    system_v: int | None = None
    own_limits: str = ""


def known_of_vehicle(store: Store, number: str) -> Known:
    """Of the job, and of every job with its VIN or plate. Simulated starts and those that do not count teach nothing.

    Raises UsageError for an unknown job.
    """
    job = find_job(store, number)
    same = [JOBS.c.id == job["id"]]
    for name, value in (("vin", job["vin"]), ("plate", job["plate"])):
        if joined(value):
            same.append(JOBS.c[name] == value)
    query = (
        select(STARTS.c.id, STARTS.c.reading_json, STARTS.c.limits_json)
        .join(JOBS, JOBS.c.id == STARTS.c.job_id)
        .where(or_(*same), COUNTED, STARTS.c.synthetic.is_(False))
        .order_by(STARTS.c.when_utc.desc(), STARTS.c.id.desc())
        .limit(MOST)
    )
    with store.engine.connect() as connection:
        rows = connection.execute(query).all()
    if not rows:
        return Known()
    answers: Answers = {}
    for _, reading, _ in reversed(rows):
        given = json.loads(reading).get("answers", {}) if reading else {}
        answers |= cast(Answers, {name: given[name] for name in STAYS if name in given})
    limits = json.loads(rows[0][2])
    name = str(limits.get("name", ""))
    return Known(int(rows[0][0]), answers, int(limits["system_v"]), "" if name.startswith(SHIPPED) else name)
