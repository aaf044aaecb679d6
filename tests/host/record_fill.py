"""A large record for measuring: 10,000 jobs, 50,000 starts that share 2,000 distinct recordings.

The start's rows are those of two simulated starts that were really judged and filed; each recording is one of theirs with a number in
front, so that its hash differs and its bytes compress as a recording's do. No recording is read back as a trace here.
"""

from __future__ import annotations

import uuid
from pathlib import Path

from sqlalchemy import insert, select

from firstcrank.jobs import records
from firstcrank.jobs.filing import attach
from firstcrank.jobs.folding import search_text
from firstcrank.jobs.packing import hash_of, pack
from firstcrank.jobs.schema import JOBS, NOTES, STARTS
from firstcrank.jobs.store import Store

from .sim_recording import recorded

JOB_COUNT, STARTS_EACH, DISTINCT = 10_000, 5, 2_000
SCENARIOS = ("marigold_trap", "marigold_repaired")


def fill(store: Store, folder: Path, jobs: int = JOB_COUNT, distinct: int = DISTINCT) -> int:
    """Fills an empty store; the size of its recordings before they are packed, bytes."""
    records.create_job(store, "template", vehicle="template")
    base = []
    for name in SCENARIOS:
        file = folder / f"{name}.fcr"
        file.write_bytes(recorded(name))
        attach(store, "template", file)
        base.append(file.read_bytes())
    hashes, size = [], 0
    for n in range(distinct):
        content = n.to_bytes(8, "little") + base[n % 2]
        hashes.append(hash_of(content))
        store.contents.put_packed(pack(content), hashes[-1])
        size += len(content)
    with store.engine.connect() as connection:
        templates = [dict(row) for row in connection.execute(select(STARTS).order_by(STARTS.c.id)).mappings()]
    for first in range(0, jobs, 500):
        _block(store, range(first, min(first + 500, jobs)), templates, hashes)
    return size


def _block(store: Store, numbers: range, templates: list[dict[str, object]], hashes: list[str]) -> None:
    jobs, notes, starts = [], [], []
    for n in numbers:
        job_id = n + 2
        job = _job(n)
        note = f"moved the feed to terminal 15, fuse {n % 40}"
        filed = []
        for k in range(STARTS_EACH):
            which = (n * STARTS_EACH + k) % len(hashes)
            day = f"20{20 + n % 6:02d}-{1 + n % 12:02d}-{1 + n % 28:02d}T{8 + k:02d}:00:00+00:00"
            own = {"job_id": job_id, "content_hash": hashes[which], "file_name": f"start-{n}-{k}.fcr", "synthetic": False}
            times = {"filed_utc": day, "recorded_utc": day, "when_utc": day, "board": f"board{n % 50:02d}"}
            row = {key: value for key, value in templates[which % 2].items() if key != "id"}
            filed.append({**row, **own, **times, "uuid": str(uuid.uuid4())})
        texts = [str(start[name]) for start in filed for name in ("reason", "cause", "board", "verdict", "file_name")]
        fields = [job[name] for name in ("vehicle", "odometer", "technician", "customer")]
        found = search_text((*fields, note, *texts), (job["number"], job["vin"], job["phone"], job["plate"]))
        jobs.append({**job, "id": job_id, "archived": False, "uuid": str(uuid.uuid4()), "search_text": found})
        notes.append({"job_id": job_id, "written_utc": job["created_utc"], "text": note, "uuid": str(uuid.uuid4())})
        starts += filed
    with store.engine.begin() as connection:
        connection.execute(insert(JOBS), jobs)
        connection.execute(insert(NOTES), notes)
        connection.execute(insert(STARTS), starts)


def _job(n: int) -> dict[str, str]:
    return {
        "number": f"J{n:05d}",
        "created_utc": f"20{20 + n % 6:02d}-{1 + n % 12:02d}-{1 + n % 28:02d}T08:00:00+00:00",
        "vehicle": f"Häcksler {n % 97} of the valley",
        "vin": f"1M8GDM9AXKP{n:06d}",
        "odometer": str(n * 13),
        "technician": f"tech {n % 7}",
        "customer": f"Hof Größe {n % 811}",
        "phone": f"0711 55 {n:05d}",
        "plate": f"FC {n:05d}",
    }
