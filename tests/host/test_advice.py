"""Every cause has its next check, with its cautions beside it; the known wrong and dangerous ones stay out.

What each check needs is the trade's own table (common practice, no single source).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from firstcrank.analysis.causes import RULES
from firstcrank.analysis.causes.advice import ADVICE, Advice
from firstcrank.analysis.causes.cautions import STANDING, in_full
from firstcrank.analysis.next_step import NEXT, TOO_CLOSE, next_step
from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.model.vocabulary import CheckId, Scope, Verdict, scope_of
from firstcrank.tracefiles.native import from_bytes

from .sim_recording import recorded

# cause -> the standing cautions that must stand beside its check, and words of its own caution
NEEDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "feed_dead_in_start": (("K1", "K2"), ("never the start terminal",)),
    "feed_from_start_terminal": (("K2",), ("no start for this check",)),
    "feed_lost_at_turn": (("K1", "K2"), ()),
    "feed_relay": (("K1",), ("may start", "polarity")),
    "feed_loose": (("K3",), ("electric fan",)),
    "feed_ballast": (("K2",), ()),
    "feed_resistance": ((), ("do not pierce",)),
    "fuse_or_link": ((), ("never a larger fuse", "key off to change")),
    "battery_weak": (("K1",), ("goggles", "gas", "load off before the clamps")),
    "battery_cable": (("K1",), ("may start", "hands off the stud")),
    "ground_path": (("K1",), ("board and laptop off", "meter only")),
    "starter_control_drop": (("K1",), ("never bridge",)),
    "heater_reversed": (("K3",), ("do not energise",)),
    "heater_feed_low": (("K5",), ()),
    "heater_loose": (("K3", "K5"), ()),
    "backfeed_after_off": (("K1",), ("never unplug an alternator lead running",)),
    "module_supply_drop": (("K3",), ("burns", "mating terminals", "no fat probes")),
    "no_charge": ((), ("belts", "running engine", "oil pressure")),
    "slow_crank": (("K1", "K6"), ("no more cranking before it bars free",)),
    "uneven_compression": (("K4",), ("throw hard", "no key to start by others")),
}
PHRASES = {  # what each standing caution must say
    "K1": ("neutral", "brake", "chocked", "belts", "second person", "air shut-off", "fans can start with the key off"),
    "K2": ("key off", "power-down", "negative off first", "insulated", "live in START", "tied back", "module-controlled"),
    "K3": ("key off", "power-down", "60 s", "negative off"),
    "K4": ("high-pressure", "by hand", "surgical", "90 s"),
    "K5": ("100 A", "no rings or watch", "10 s at most", "no starting fluid"),
    "K6": ("clamp", "10 A socket"),
}
EVERY = [*ADVICE.values(), *NEXT.values(), TOO_CLOSE]
TURNS_THE_ENGINE = r"(held|holds|hold) start|start held|\bcranks?\b(?! speed)|start, key off|record (again|a start)"


def test_every_rule_has_its_advice() -> None:
    assert {rule.__name__ for rule in RULES} == set(ADVICE) == set(NEEDS)


@pytest.mark.parametrize("key", sorted(STANDING))
def test_a_standing_caution_says_all_of_it(key: str) -> None:
    assert set(PHRASES) == set(STANDING)
    for phrase in PHRASES[key]:
        assert phrase in STANDING[key], phrase


@pytest.mark.parametrize("cause", sorted(ADVICE))
def test_cautions_stand_beside_the_check(cause: str) -> None:
    standing, own = NEEDS[cause]
    assert set(standing) <= set(ADVICE[cause].standing)
    assert set(in_full(standing)) <= set(ADVICE[cause].cautions)
    for phrase in own:
        assert phrase in " ".join(ADVICE[cause].cautions).lower(), phrase


@pytest.mark.parametrize("advice", EVERY, ids=lambda advice: advice.check[:30])
def test_no_known_wrong_advice(advice: Advice) -> None:
    text, all_of_it = advice.check.lower(), f"{advice.check} {advice.own}".lower()
    assert not re.search(r"diode[- ]test|test the diode with", text), "it can't tell an open diode from a good one"
    assert "ahead of" not in text, "the terminal before a resistor may be dead in START"
    assert not re.search(r"(feed|tie|connect|wire)[^.]*(to|from) the start terminal", text), "it would feed the starter back"
    assert not re.search(r"run-only|live in (on|run) only", text)
    assert not re.search(r"\b(pull|unplug)\b[^.]*module's plug", text), "a plug with the key on"
    if "start terminal" in all_of_it:
        assert "never the start terminal" in all_of_it
    if "module" in text and re.search(r"unplugged", text):
        assert "K3" in advice.standing or "never unplugged" in text or "key on only" in text
    if re.search(TURNS_THE_ENGINE, text):
        assert "K1" in advice.standing, "a key in START may start the engine"
    if "starter disabled" in text:
        assert "K2" in advice.standing
    if "clamp current" in text or "clamp meter" in text:
        assert "K6" in advice.standing


def test_every_no_verdict_says_what_to_do_next() -> None:
    of_evidence = {check for check in CheckId if scope_of(check) is Scope.EVIDENCE}
    assert of_evidence == set(NEXT)
    step = next_step(Verdict.NO_VERDICT, ())
    assert step is TOO_CLOSE
    assert next_step(Verdict.FAIL, ()) is None
    assert next_step(Verdict.PASS, ()) is None


@pytest.mark.parametrize("name", ["short_crank", "feed_dead_in_start", "key_never_off", "both_on_battery"])
def test_a_judgement_carries_the_cautions_of_its_next_check(name: str) -> None:
    recording = from_bytes(recorded(name))
    judgement = judge(recording.trace, shipped(12), recording.context)
    assert judgement.verdict != Verdict.PASS
    assert judgement.next_check
    assert STANDING["K1"] in judgement.cautions


def test_the_page_holds_every_check_with_its_cautions() -> None:
    page = (Path(__file__).parents[2] / "docs" / "next_checks.md").read_text("utf-8")
    for cause, advice in ADVICE.items():
        (row,) = [line for line in page.splitlines() if line.startswith(f"| `{cause}` |")]
        assert advice.check in row
        assert advice.own in row
        assert all(key in row for key in advice.standing)
    for key, text in STANDING.items():
        assert f"**{key}** {text}" in page
