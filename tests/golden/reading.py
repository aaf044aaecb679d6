"""How the program of today reads and judges a golden file: the one place here to change when its functions are renamed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from firstcrank.analysis.verdict import judge
from firstcrank.limits import read_limits, shipped
from firstcrank.model.judgement import Judgement
from firstcrank.recording import Recording
from firstcrank.tracefiles.csv import parse_uncertainty
from firstcrank.tracefiles.native import context_from_json
from firstcrank.tracefiles.saved_maps import saved_map
from firstcrank.tracefiles.table import load


def recording_of(data: Path, case: Mapping[str, Any]) -> Recording:
    """A file of `data` with what a case of expected.json gives along: the name of a saved map, answers.

    FIRSTCRANK_MAPS must name the golden maps file.
    """
    columns, accuracy = None, None
    if "map" in case:
        saved = saved_map(case["map"])
        columns = saved.columns
        accuracy = parse_uncertainty(saved.uncertainty) if saved.uncertainty else None
    recording = load(data / case["file"], None, columns, accuracy)
    return replace(recording, context=context_from_json(case["answers"])) if "answers" in case else recording


def judgement_of(data: Path, case: Mapping[str, Any], recording: Recording) -> Judgement:
    """As `firstcrank judge` does: the limits named, else the recording's own, else those shipped for 12 V."""
    given = read_limits(data / "settings" / case["limits"]) if "limits" in case else None
    return judge(recording.trace, given or recording.limits or shipped(12), recording.context)
