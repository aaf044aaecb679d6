"""The checklist of a first start: values and pure steps. Nothing is jumped in silence and an open item is never complete."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from firstcrank.analysis.switch_test import SwitchResult, SwitchWord
from firstcrank.errors import UsageError
from firstcrank.model.judgement import Judgement
from firstcrank.model.vocabulary import Result
from firstcrank.thresholds.switch import SWITCH
from firstcrank.thresholds.visit import VISIT
from firstcrank.toml_file import finite

KINDS = ("look", "reading", "board")
STATUS = {
    "P": "published",
    "C": "common practice, no single source",
    "M": "the engine maker's figure",
    "T": "the tool's own",
}
SCALES = {
    "V": {"v": 1.0, "mv": 1e-3, "kv": 1e3},
    "A": {"a": 1.0, "ma": 1e-3},
    "ohm": {"ohm": 1.0, "ohms": 1.0, "Ω": 1.0, "kohm": 1e3, "mohm": 1e-3},
    "K": {"k": 1.0, "°c": 1.0, "c": 1.0},
    "s": {"s": 1.0, "ms": 1e-3},
}
TYPED = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*([a-zA-ZΩ°]*)")


class State(StrEnum):
    """Four different words, and open."""

    OPEN = "open"
    DONE = "done"
    FAILED = "failed"
    SKIPPED = "skipped"
    NOT_APPLICABLE = "not applicable"


@dataclass(frozen=True, slots=True)
class Check:
    """One check. `low`, `high` in `unit`; `maker` names the figure that is asked once per engine; `board` what shows it by itself:
    a start's feed or one of its checks, the switch test, the harness watch. `also`: what must be answered yes besides the reading, for
    one reading does not close it. `at_24v`: what the limits are multiplied by there; without
    it volts are doubled and the rest stays."""

    number: int
    part: str
    text: str
    why: str
    how: str
    expect: str
    status: str
    kind: str
    fails: str
    next: str
    caution: str = ""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    maker: str = ""
    board: str = ""
    source: str = ""
    at_24v: float | None = None
    also: tuple[str, ...] = ()

    def limits_at(self, system_v: int) -> tuple[float | None, float | None]:
        """`low` and `high` in `unit` for a vehicle of 12 or 24 V."""
        if system_v != 24:
            return self.low, self.high
        times = self.at_24v if self.at_24v is not None else 2.0 if self.unit == "V" else 1.0
        low, high = (None if limit is None else limit * times for limit in (self.low, self.high))
        return low, high

    @property
    def status_text(self) -> str:
        """Where the expectation comes from, in words."""
        return f"{STATUS[self.status]}: {self.source}" if self.source else STATUS[self.status]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a check: its state, and the reading, the reason or what the board showed."""

    state: State
    text: str = ""


def checks_of(table: Mapping[str, object], name: str) -> tuple[Check, ...]:
    """The checks of a TOML table, in its order. Raises UsageError naming the check and what is wrong with it."""
    rows = table.get("check")
    if not isinstance(rows, list) or not rows:
        raise UsageError(f"{name}: no [[check]] in it")
    found = [_check(row, f"{name}: check {position}") for position, row in enumerate(rows, 1)]
    numbers = [check.number for check in found]
    if len(set(numbers)) != len(numbers):
        raise UsageError(f"{name}: a number stands twice")
    return tuple(found)


def _check(row: object, where: str) -> Check:
    if not isinstance(row, dict):
        raise UsageError(f"{where} is no table")
    also = row.get("also", [])
    if not isinstance(also, list) or not all(isinstance(question, str) and question for question in also):
        raise UsageError(f"{where}: also must be a list of questions")
    try:
        check = Check(**{**row, "also": tuple(also)})
        for key in ("low", "high", "at_24v"):
            if getattr(check, key) is not None:
                finite(key, getattr(check, key))
    except (TypeError, ValueError) as error:
        raise UsageError(f"{where}: {error}") from error
    if check.kind not in KINDS or check.status not in STATUS or not isinstance(check.number, int):
        raise UsageError(f"{where}: kind must be one of {', '.join(KINDS)}, status one of {', '.join(STATUS)}, number whole")
    if check.status == "P" and not check.source:
        raise UsageError(f"{where}: status P needs its source (title and page), else it is C")
    if check.kind == "reading" and check.unit not in SCALES:
        raise UsageError(f"{where}: unit must be one of {', '.join(SCALES)}")
    return check


def typed_reading(text: str, unit: str) -> float:
    """A number in `unit` from what was typed: "12,4", "12.4 V" and "12400 mV" are one value. Raises UsageError."""
    match = TYPED.fullmatch(text.strip())
    scale = SCALES[unit].get(match[2].lower() or unit.lower()) if match else None
    if match is None or scale is None:
        raise UsageError(f"{text.strip()[:20]!r} is no reading in {unit}: write it as 12.4 or 12400 m{unit}")
    return float(match[1].replace(",", ".")) * scale


def slipped(check: Check, value: float, limits: tuple[float | None, float | None]) -> bool:
    """Whether a reading is so far off that a decimal point has rather slipped: it is asked about again, never taken as it is."""
    low, high = limits
    if high is not None and low is not None:
        return value > high * VISIT.slip or (low > 0 and value < low / VISIT.slip)
    return high is not None and value > high * VISIT.slip_without_low


def wanted(limits: tuple[float | None, float | None]) -> str:
    """Limits in words, without their unit; empty where there is none."""
    low, high = limits
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    return f"{low:g} or more" if low is not None else f"{high:g} or less" if high is not None else ""


def judge_reading(value: float, limits: tuple[float | None, float | None], unit: str) -> Outcome:
    """DONE within the limits, FAILED outside; the text holds both."""
    low, high = limits
    good = (low is None or value >= low) and (high is None or value <= high)
    return Outcome(State.DONE if good else State.FAILED, f"{value:g} {unit} ({wanted(limits) or 'no limit'} {unit})")


def from_judgement(check: Check, judgement: Judgement) -> Outcome | None:
    """What a recording of the job shows of a check by itself; None where it says nothing."""
    if not check.board:
        return None
    if check.board == "feed":
        verdict = str(judgement.feed.verdict)
        state = {"PASS": State.DONE, "FAIL": State.FAILED}.get(verdict)
        return Outcome(state, f"by the board: key feed {verdict}") if state else None
    found = [f for f in judgement.findings if str(f.check) == check.board]
    if any(f.result is Result.FAIL for f in found):
        worst = next(f for f in found if f.result is Result.FAIL)
        return Outcome(State.FAILED, f"by the board: {worst.reason}")
    passing = [f for f in found if f.result is Result.PASS]
    return Outcome(State.DONE, f"by the board: {passing[0].reason}") if passing and len(passing) == len(found) else None


def from_switch_test(result: SwitchResult) -> Outcome | None:
    """What a switch test shows; None where it proves nothing: START not seen, or held through fewer turns than are wanted."""
    text = f"by the board: {result.word}: {result.reason}"
    if result.word is SwitchWord.LOST:
        return Outcome(State.FAILED, text)
    return Outcome(State.DONE, text) if result.word is SwitchWord.HELD and result.turns >= SWITCH.turns_wanted else None


def from_watch(count: int, watched_s: float, worst: str, ended: str) -> Outcome | None:
    """What a harness watch shows; None where it proves nothing: no dropout, but too short, or ended by a low battery."""
    if count:
        return Outcome(State.FAILED, f"by the board: {count} dropouts in {watched_s:.0f} s, most at {worst}")
    if watched_s < VISIT.watched_least_s or ended:
        return None
    return Outcome(State.DONE, f"by the board: no dropout in {watched_s:.0f} s")


NOTE = re.compile(r"Check (\d+) (done|failed|skipped|not applicable|open)(?:: (.*))?", re.S)


def note_of(check: Check, outcome: Outcome) -> str:
    """One line for the job's record, which is read back by `outcomes_of`."""
    return f"Check {check.number} {outcome.state}: {outcome.text or check.expect} [{check.text[:60]}]"


def outcomes_of(notes: Iterable[str]) -> dict[int, Outcome]:
    """What became of each check by the job's notes, the latest of each; resumes after a break."""
    found = {}
    for note in notes:
        match = NOTE.fullmatch(note)
        if match is not None:
            found[int(match[1])] = Outcome(State(match[2]), (match[3] or "").rpartition(" [")[0])
    return found


def open_checks(checks: tuple[Check, ...], outcomes: Mapping[int, Outcome]) -> tuple[Check, ...]:
    """Those that keep the job open: never asked, left open, or failed."""
    closed = (State.DONE, State.SKIPPED, State.NOT_APPLICABLE)
    return tuple(c for c in checks if outcomes.get(c.number, Outcome(State.OPEN)).state not in closed)
