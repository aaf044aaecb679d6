"""Every cause has its next check, with its caution beside it; the known wrong and dangerous ones stay out."""

from __future__ import annotations

import re

import pytest

from firstcrank.analysis.causes import RULES
from firstcrank.analysis.causes.advice import ADVICE

# Which caution stands beside which advice (common practice, no source): the engine may start; the starter is disabled; plugs; heat.
MAY_START = (
    "feed_relay",
    "battery_cable",
    "ground_path",
    "starter_control_drop",
    "battery_weak",
    "slow_crank",
    "backfeed_after_off",
)
DISABLED = ("feed_dead_in_start", "feed_lost_at_turn", "feed_ballast")
UNPLUG = ("heater_reversed", "heater_loose", "module_supply_drop")
HOT = ("heater_feed_low", "heater_loose")


def test_every_rule_has_its_advice() -> None:
    assert {rule.__name__ for rule in RULES} == set(ADVICE)


@pytest.mark.parametrize(
    ("causes", "must"),
    [
        (MAY_START, ("neutral", "chocked", "belts", "second person")),
        (DISABLED, ("negative off first", "insulated", "power-down")),
        (UNPLUG, ("power-down time", "negative off")),
        (HOT, ("100 A", "10 s")),
    ],
)
def test_cautions_stand_beside_the_check(causes: tuple[str, ...], must: tuple[str, ...]) -> None:
    for cause in causes:
        for word in must:
            assert word in ADVICE[cause], (cause, word)


@pytest.mark.parametrize("cause", sorted(ADVICE))
def test_no_known_wrong_advice(cause: str) -> None:
    text = ADVICE[cause].lower()
    assert not re.search(r"diode-test|diode test", text), "it can't tell an open diode from a good one"
    assert "ahead of" not in text, "the terminal before a resistor may be dead in START"
    if "start terminal" in text:
        assert "never the start terminal" in text, "it would feed the starter back"
    if re.search(r"(held|holds) start|start held|crank", text) and cause not in ("slow_crank", "feed_from_start_terminal"):
        assert any(w in text for w in ("disabled", "treat it as a start", "no more cranking")), (
            "a key in START may start the engine"
        )
    if "unplug" in text and "module" in text and cause == "feed_loose":
        assert "never unplugged" in text
