"""A judgement as a table and back: every key with its value by hand, what is not finite, and tables of schema 1."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.as_json import _plain, from_table, to_line, to_table
from firstcrank.model.judgement import (
    Border,
    Cause,
    Crank,
    Dropout,
    FeedSpan,
    FeedVerdict,
    Finding,
    Interval,
    Judgement,
)
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope, Verdict

DROP = Finding(
    CheckId.FEED_DROP_STEADY,
    Result.FAIL,
    "drops",
    Measured(1.25, 0.05, "V"),
    1.0,
    3.5,
    Phase.CRANK,
    2,
    conformance=0.01,
    voids=True,
    tolerated="a bounce",
)
REST = Finding(CheckId.BATTERY_REST, Result.PASS, "rests")
WHOLE = Judgement(
    verdict=Verdict.FAIL,
    reasons=("one", "two"),
    findings=(DROP, REST),
    dropouts=(Dropout("key_switch", Phase.CRANK, 4.0, 0.01, 0.009, 0.011, 0.5, True, "undecided", (Phase.TURN, Phase.CRANK)),),
    phases=(Interval(Phase.CRANK, 3.0, 5.0, Border(2.9, 3.0, "coil live"), 1),),
    cranks=(Crank(3.0, 5.0, 180.0, 6.0, "note", True, "the battery", True),),
    assumptions=("assumed",),
    not_measured=("no load",),
    likely_causes=(Cause("feed_loose", 0.9, "came and went", "wiggle it", ("mind the fan",)),),
    next_check="measure",
    extra={"source": "battery"},
    feed=FeedVerdict(Verdict.NO_VERDICT, ("three",)),
    other_faults=(REST,),
    tolerated=("a dip",),
    feed_account=(FeedSpan("low", 0.0, 1.0), FeedSpan("good", 1.0, 8.0)),
    schema=2,
    cautions=("hot parts",),
)
TABLE: dict[str, Any] = {
    "schema": 2,
    "file": "start.fcr",
    "verdict": "FAIL",
    "reasons": ["one", "two"],
    "feed": {
        "verdict": "NO VERDICT",
        "reasons": ["three"],
        "tolerated": ["a dip"],
        "account": [{"state": "low", "start_s": 0.0, "end_s": 1.0}, {"state": "good", "start_s": 1.0, "end_s": 8.0}],
    },
    "other_faults": [
        {
            "check": "battery_rest",
            "scope": "other",
            "result": "pass",
            "measured": None,
            "uncertainty": None,
            "limit": None,
            "unit": "",
            "at_s": None,
            "phase": None,
            "crank": None,
            "conformance": None,
            "reason": "rests",
            "tolerated": "",
            "voids": False,
        }
    ],
    "findings": [
        {
            "check": "key_feed_drop_steady",
            "scope": "feed",
            "result": "fail",
            "measured": 1.25,
            "uncertainty": 0.1,  # expanded, k = 2
            "limit": 1.0,
            "unit": "V",
            "at_s": 3.5,
            "phase": "crank",
            "crank": 2,
            "conformance": 0.01,
            "reason": "drops",
            "tolerated": "a bounce",
            "voids": True,
        }
    ],
    "dropouts": [
        {
            "role": "key_switch",
            "phase": "crank",
            "phases": ["key turn", "crank"],
            "kind": "undecided",
            "start_s": 4.0,
            "duration_s": 0.01,
            "duration_low_s": 0.009,
            "duration_high_s": 0.011,
            "lowest_v": 0.5,
            "counts": True,
        }
    ],
    "cranks": [
        {
            "start_s": 3.0,
            "end_s": 5.0,
            "speed_rpm": 180.0,
            "speed_uncertainty_rpm": 6.0,
            "speed_note": "note",
            "engine_ran_on": True,
            "ran_on_evidence": "the battery",
            "by_lead": True,
        }
    ],
    "assumptions": ["assumed"],
    "not_measured": ["no load"],
    "likely_causes": [
        {
            "cause": "feed_loose",
            "confidence": 0.9,
            "evidence": "came and went",
            "next_check": "wiggle it",
            "cautions": ["mind the fan"],
        }
    ],
    "next_check": "measure",
    "cautions": ["hot parts"],
    "phases": [
        {
            "name": "crank",
            "start_s": 3.0,
            "end_s": 5.0,
            "crank": 1,
            "begins": {"early_s": 2.9, "late_s": 3.0, "evidence": "coil live"},
        }
    ],
    "extra": {"source": "battery"},
}
TABLE["findings"] = [*TABLE["findings"], *TABLE["other_faults"]]


def changed(**keys: Any) -> Any:
    """The table with other values."""
    return json.loads(json.dumps(TABLE)) | keys


def without(*keys: str) -> Any:
    """The table without these keys."""
    return {key: value for key, value in json.loads(json.dumps(TABLE)).items() if key not in keys}


def test_every_key_has_its_value() -> None:
    table = to_table(WHOLE, "start.fcr")
    assert table == TABLE
    assert list(table) == [*list(TABLE)]
    assert to_table(WHOLE)["file"] == ""


def test_a_table_is_undone() -> None:
    assert from_table(changed()) == WHOLE


def test_one_line() -> None:
    line = to_line(replace(WHOLE, reasons=("50 mΩ",)), "start.fcr")
    assert "\n" not in line
    assert "50 mΩ" in line
    assert json.loads(line) == TABLE | {"reasons": ["50 mΩ"]}


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_null(number: float) -> None:
    table: Any = to_table(replace(WHOLE, findings=(replace(DROP, conformance=number),)))
    assert table["findings"][0]["conformance"] is None


@pytest.mark.parametrize(
    ("value", "plain", "kind"),
    [
        (np.float64(1.5), 1.5, float),
        (np.int64(3), 3.0, float),
        (True, True, bool),
        (7, 7, int),
        (None, None, type(None)),
        (Phase.CRANK, "crank", str),
        (Scope.FEED, "feed", str),
        (Verdict.PASS, "PASS", str),
        (Result.WARN, "warn", str),
        (CheckId.READABLE, "readable", str),
        ((1, np.float64(2.0)), [1, 2.0], list),
        ({1: (Phase.AFTER,)}, {"1": ["after"]}, dict),
    ],
)
def test_values_become_plain_ones(value: object, plain: object, kind: type) -> None:
    assert _plain(value) == plain
    assert type(_plain(value)) is kind


@pytest.mark.parametrize("value", [object(), {1, 2}, 1j])
def test_what_is_no_plain_value_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="has no place in a judgement's table"):
        _plain(value)


# --- what earlier tables lack


def test_a_table_without_a_verdict_of_the_feed_has_one_verdict() -> None:
    """Schema 1: no number of the schema, the verdict was the feed's."""
    found = from_table(without("schema", "feed", "other_faults", "extra", "next_check", "cautions"))
    assert found == replace(
        WHOLE,
        schema=1,
        feed=FeedVerdict(Verdict.FAIL, ("one", "two")),
        tolerated=(),
        feed_account=(),
        other_faults=(),
        extra={},
        next_check="",
        cautions=(),
    )


@pytest.mark.parametrize(
    ("check", "phase", "read", "read_phase"),
    [
        ("key_feed_drop_steady.crank", None, CheckId.FEED_DROP_STEADY, Phase.CRANK),
        ("key_feed_drop_steady.key_on", None, CheckId.FEED_DROP_STEADY, Phase.KEY_ON),
        ("key_feed_drop_brief.key_turn", "after", CheckId.FEED_DROP_BRIEF, Phase.AFTER),
        ("ground_rise.module_ground", None, CheckId.GROUND_RISE_MODULE, None),
        ("battery_minimum", "crank", CheckId.SUPPLY_MINIMUM, Phase.CRANK),
    ],
)
def test_schema_1_put_the_phase_behind_a_dot(check: str, phase: str | None, read: CheckId, read_phase: Phase | None) -> None:
    finding = TABLE["findings"][0] | {"check": check, "phase": phase}
    found = from_table(changed(findings=[finding])).findings[0]
    assert (found.check, found.phase) == (read, read_phase)


@pytest.mark.parametrize("check", ["no_such_check", "battery_minimum.sideways", "battery_minimum."])
def test_a_foreign_check_is_refused(check: str) -> None:
    with pytest.raises(ValueError, match="is not a valid"):
        from_table(changed(findings=[TABLE["findings"][0] | {"check": check}]))


def test_a_finding_of_few_keys() -> None:
    keys = ("phase", "crank", "voids", "tolerated")
    few = {k: v for k, v in TABLE["findings"][0].items() if k not in keys} | {"uncertainty": None}
    found = from_table(changed(findings=[few])).findings[0]
    assert found == replace(DROP, value=Measured(1.25, 0.0, "V"), phase=None, crank=None, voids=False, tolerated="")


def test_zero_is_a_measured_value() -> None:
    zero = from_table(changed(findings=[TABLE["findings"][0] | {"measured": 0.0}])).findings[0]
    none = from_table(changed(findings=[TABLE["findings"][0] | {"measured": None}])).findings[0]
    assert zero.value == Measured(0.0, 0.05, "V")
    assert none.value is None


@pytest.mark.parametrize(("counts", "kind"), [(True, "counts"), (False, "short")])
def test_a_dropout_of_few_keys(counts: bool, kind: str) -> None:
    few = {k: v for k, v in TABLE["dropouts"][0].items() if k not in ("kind", "phases")} | {"counts": counts}
    found = from_table(changed(dropouts=[few])).dropouts[0]
    assert (found.kind, found.phases, found.counts) == (kind, (Phase.CRANK,), counts)


def test_a_phase_a_crank_and_a_cause_of_few_keys() -> None:
    phase = {"name": "after", "start_s": 5.0, "end_s": 8.0}
    cause = {"cause": "feed_loose", "confidence": 0.5, "evidence": "why"}
    found = from_table(changed(phases=[phase], cranks=[{"start_s": 1.0, "end_s": 2.0}], likely_causes=[cause]))
    assert found.phases == (Interval(Phase.AFTER, 5.0, 8.0, Border(5.0, 5.0, "")),)
    assert found.cranks == (Crank(1.0, 2.0),)
    assert found.likely_causes == (Cause("feed_loose", 0.5, "why"),)


@pytest.mark.parametrize(
    "key", ["verdict", "reasons", "findings", "dropouts", "phases", "cranks", "assumptions", "likely_causes"]
)
def test_a_foreign_table_is_refused(key: str) -> None:
    with pytest.raises(KeyError, match=key):
        from_table(without(key))
    with pytest.raises((TypeError, ValueError)):
        from_table(changed(**{key: 1}))


@pytest.mark.parametrize(
    "file", sorted((Path(__file__).parents[1] / "golden" / "data").rglob("*.judged.json")), ids=lambda f: f.name
)
def test_tables_of_schema_1_keep_their_figures(file: Path) -> None:
    table = json.loads(file.read_text("utf-8"))
    found = from_table(table)
    assert "schema" not in table
    assert found.schema == 1
    assert found.feed == FeedVerdict(found.verdict, found.reasons)
    for finding, old in zip(found.findings, table["findings"], strict=True):
        assert finding.result == old["result"]
        assert (finding.measured, finding.limit, finding.at_s) == (old["measured"], old["limit"], old["at_s"])
        assert finding.measured is None or finding.uncertainty == pytest.approx(old["uncertainty"] or 0.0)
        written = f"{finding.check}.{finding.phase.replace(' ', '_')}" if finding.phase else finding.check
        assert old["check"] in (written, finding.check)
