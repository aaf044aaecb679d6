"""Filed starts judged again by a worker: a process of this computer, or one elsewhere that has firstcrank and no store."""

from __future__ import annotations

import json
from dataclasses import dataclass

from firstcrank.analysis.as_json import to_table
from firstcrank.analysis.verdict import judge
from firstcrank.errors import FirstcrankError
from firstcrank.jobs.packing import Packed, unpack
from firstcrank.jobs.reading import read_again
from firstcrank.limits import Limits


@dataclass(frozen=True, slots=True)
class Piece:
    """All that judging one start again needs. `limits_json`: other limits, empty for those it was filed with."""

    start: int
    job: str
    packed: Packed | None
    content_hash: str
    file_name: str
    filed_limits_json: str
    limits_json: str
    calibration_json: str
    reading_json: str
    filed_verdict: str
    filed_reason: str
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Again:
    """The verdict filed and the verdict now. `trouble`: why it could not be judged; then verdict, reason and judgement are empty."""

    start: int
    job: str
    filed_verdict: str
    filed_reason: str
    verdict: str = ""
    feed_verdict: str = ""
    reason: str = ""
    judgement_json: str = ""
    trouble: str = ""

    @property
    def flips(self) -> bool:
        """Whether the verdict is another one now."""
        return bool(self.verdict) and self.verdict != self.filed_verdict


def judge_piece(pieces: list[Piece]) -> list[Again]:
    """Each start of a piece of work."""
    return [judge_again(piece) for piece in pieces]


def judge_again(piece: Piece) -> Again:
    """One start. Trouble with one recording is told in its answer and stops no other."""
    filed = (piece.start, piece.job, piece.filed_verdict, piece.filed_reason)
    if piece.packed is None:
        return Again(*filed, trouble=piece.trouble)
    try:
        before = Limits.from_json(json.loads(piece.filed_limits_json))
        limits = Limits.from_json(json.loads(piece.limits_json)) if piece.limits_json else before
        if limits.system_v != before.system_v:
            return Again(*filed, trouble=f"the limits are for {limits.system_v} V, this start is of {before.system_v} V")
        content = unpack(piece.packed, piece.content_hash)
        recording = read_again(content, piece.file_name, piece.calibration_json, piece.reading_json)
        found = judge(recording.trace, limits, recording.context)
    except (FirstcrankError, ValueError, KeyError, TypeError) as error:
        return Again(*filed, trouble=str(error))
    reason = found.reasons[0] if found.reasons else ""
    table = json.dumps(to_table(found), ensure_ascii=False)
    return Again(*filed, str(found.verdict), str(found.feed.verdict), reason, table)
