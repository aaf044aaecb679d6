"""Rules on causes in the key feed: what each asks for, one value on each side of every border. Confidences are the rules' own."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from firstcrank.analysis.causes.feed import (
    _battery_at,
    _warming,
    feed_ballast,
    feed_dead_in_start,
    feed_from_start_terminal,
    feed_loose,
    feed_lost_at_turn,
    feed_relay,
    feed_resistance,
    fuse_or_link,
)
from firstcrank.analysis.causes.symptoms import Symptoms, symptoms_of
from firstcrank.model.judgement import Cause, Dropout, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result

from .plain_view import BIN_S, Volts, a_battery, a_feed, a_finding, crank_of, flat, limits_with, loss, plain_view, put


def symptoms(
    *, findings: tuple[Finding, ...] = (), losses: tuple[Dropout, ...] = (), view: dict[str, Any] | None = None, **changed: Any
) -> Symptoms:
    """Of a plain start, with some figures put in by hand."""
    found = symptoms_of(plain_view(dropouts=losses, **(view or {})), findings)
    return replace(found, **changed)


def sure(cause: Cause | None) -> float | None:
    """Its confidence, None for none."""
    return None if cause is None else cause.confidence


def feed_drops(on_v: float, crank_v: float) -> Volts:
    """The feed so far below the battery with KEY ON, and while cranking."""
    feed = put(a_battery() - on_v, 10.0 - crank_v, 3.0, 5.0)
    return put(feed, 0.0, 0.0, 1.0)


FAIL_DROPOUT = a_finding(CheckId.FEED_DROPOUT, Result.FAIL)


# --- on the START terminal


def test_live_in_start_and_nowhere_else() -> None:
    only = put(flat(0.0), 9.9, 3.0, 5.0)
    cause = feed_from_start_terminal(symptoms(view={"key_switch": only, "on": None}))
    assert cause is not None
    assert (cause.cause, cause.confidence) == ("feed_from_start_terminal", 0.95)
    assert feed_from_start_terminal(symptoms()) is None


# --- dead in START


DEAD: dict[str, Any] = {"own": (loss(3.0, 2.0),), "lost_share": 1.0, "lost_mean_v": 0.0}


@pytest.mark.parametrize(
    ("changed", "confidence"),
    [
        ({}, 0.95),
        ({"lost_share": 0.70}, 0.95),
        ({"lost_share": 0.69}, None),
        ({"own": ()}, None),
        ({"lost_mean_v": 1.9}, 0.95),
        ({"lost_mean_v": 2.0}, 0.9),
        ({"ground_share": 0.5}, 0.95),
        ({"ground_share": 0.51}, None),
        ({"lost_mean_v": 5.0, "coil_share": 0.71}, None),  # the starter's own control loses as much
        ({"lost_mean_v": 5.0, "coil_share": 0.70}, 0.9),
        ({"lost_mean_v": 2.0, "coil_share": 0.71}, 0.9),
        ({"tracks_current": 0.9}, 0.95),
    ],
)
def test_dead_as_long_as_the_key_is_in_start(changed: dict[str, Any], confidence: float | None) -> None:
    assert sure(feed_dead_in_start(symptoms(**(DEAD | changed)))) == confidence


def test_dead_and_low_are_said_apart() -> None:
    dead = feed_dead_in_start(symptoms(**DEAD))
    low = feed_dead_in_start(symptoms(**(DEAD | {"lost_mean_v": 4.5})))
    assert dead is not None
    assert low is not None
    assert "dead as long as" in dead.evidence
    assert "4.50 V on average" in low.evidence


def test_a_feed_that_never_lived_is_another_thing() -> None:
    assert feed_dead_in_start(symptoms(view={"key_switch": flat(0.0), "on": None}, **DEAD)) is None
    only = put(flat(0.0), 9.9, 3.0, 5.0)
    assert feed_dead_in_start(symptoms(view={"key_switch": only, "on": None}, **DEAD)) is None
    gone = {"key_switch": put(a_feed(), 0.0, 3.5, 8.0), "dead_from_s": 3.5}
    assert feed_dead_in_start(symptoms(view=gone, **DEAD)) is None


@pytest.mark.parametrize(
    ("on_v", "crank_v", "confidence"),
    [
        (0.1, 0.49, None),
        (0.1, 0.51, 0.85),
        (0.3, 0.69, None),  # twice 0.3 V and 0.2 of 0.5 V
        (0.3, 0.71, 0.85),
    ],
)
def test_far_lower_in_start_than_with_key_on(on_v: float, crank_v: float, confidence: float | None) -> None:
    cause = feed_dead_in_start(symptoms(view={"key_switch": feed_drops(on_v, crank_v)}))
    assert sure(cause) == confidence
    if cause is not None:
        assert f"{crank_v:.2f} V below its source in START and {on_v:.2f} V with KEY ON" in cause.evidence


def test_where_key_on_was_not_seen_the_drop_in_start_is_enough() -> None:
    phases = ((Phase.CRANK, 3.0, 5.0),)
    assert sure(feed_dead_in_start(symptoms(view={"key_switch": feed_drops(0.3, 0.6), "phases": phases}))) == 0.85


@pytest.mark.parametrize(
    ("tracks", "share", "confidence"), [(0.6, 0.0, 0.85), (0.61, 0.0, None), (0.61, 0.5, None), (0.61, 0.7, 0.9)]
)
def test_what_follows_the_current_is_no_contact(tracks: float, share: float, confidence: float | None) -> None:
    view = {"key_switch": feed_drops(0.1, 2.0)}
    found = symptoms(view=view, tracks_current=tracks, lost_share=share, lost_mean_v=5.0)
    assert sure(feed_dead_in_start(found)) == confidence


def chatters(count: int, share: float, **changed: Any) -> Symptoms:
    return symptoms(inside=tuple(loss(3.1 + 0.1 * i, 0.01) for i in range(count)), lost_share=share, **changed)


@pytest.mark.parametrize(("count", "share", "confidence"), [(8, 0.26, 0.75), (7, 0.26, None), (8, 0.25, None), (8, 0.69, 0.75)])
def test_comes_and_goes_in_start(count: int, share: float, confidence: float | None) -> None:
    cause = feed_dead_in_start(chatters(count, share))
    assert sure(cause) == confidence
    assert cause is None or "comes and goes" in cause.evidence


def test_chatter_that_is_lost_for_long_or_lies_low_is_the_greater_thing() -> None:
    assert sure(feed_dead_in_start(chatters(8, 0.7, own=(loss(3.0, 1.4),)))) == 0.95
    assert sure(feed_dead_in_start(chatters(8, 0.3, view={"key_switch": feed_drops(0.1, 2.0)}))) == 0.85


@pytest.mark.parametrize(
    ("on_v", "mean_v", "confidence"), [(0.99, 5.0, 0.9), (1.01, 5.0, None), (1.01, 2.0, 0.9), (1.01, 1.0, 0.95)]
)
def test_as_much_lost_with_key_on_is_no_start_contact(on_v: float, mean_v: float, confidence: float | None) -> None:
    found = symptoms(view={"key_switch": feed_drops(on_v, 1.0)}, own=(loss(3.0, 2.0),), lost_share=1.0, lost_mean_v=mean_v)
    assert sure(feed_dead_in_start(found)) == confidence


def test_without_a_drop_in_start_there_is_none() -> None:
    phases = ((Phase.KEY_ON, 1.0, 2.7),)
    assert feed_dead_in_start(symptoms(view={"key_switch": feed_drops(0.1, 2.0), "phases": phases})) is None
    assert feed_ballast(symptoms(view={"key_switch": feed_drops(0.6, 0.1), "phases": phases})) is None


# --- lost while the key travels


TRAVEL = loss(2.8, 0.02, phase=Phase.TURN, phases=(Phase.TURN,))
BACK = loss(5.1, 0.03, phase=Phase.RELEASE, phases=(Phase.RELEASE,))


@pytest.mark.parametrize(
    ("changed", "confidence"),
    [
        ({"findings": (FAIL_DROPOUT,)}, 0.9),
        ({}, 0.3),
        ({"findings": (a_finding(CheckId.FEED_DROPOUT, Result.WARN),)}, 0.3),
        ({"findings": (a_finding(CheckId.FEED_CHATTER, Result.FAIL),)}, 0.3),
        ({"turn": ()}, None),
        ({"lost_share": 0.30}, 0.3),
        ({"lost_share": 0.31}, None),
        ({"inside": (loss(4.0, 0.01),)}, None),
    ],
)
def test_lost_only_while_the_key_travels(changed: dict[str, Any], confidence: float | None) -> None:
    assert sure(feed_lost_at_turn(symptoms(**({"turn": (TRAVEL,)} | changed)))) == confidence


def test_the_longest_loss_of_the_travel_is_told() -> None:
    there, back = (feed_lost_at_turn(symptoms(turn=turn)) for turn in ((TRAVEL,), (TRAVEL, BACK)))
    assert there is not None
    assert back is not None
    assert "from KEY ON to START, for 20 ms" in there.evidence
    assert "back from START to KEY ON, for 30 ms" in back.evidence


# --- a relay that lets go


def relay(
    *,
    start_s: float = 3.1,
    duration_s: float = 1.0,
    lowest_v: float = 10.0,
    back_v: float = 11.0,
    sag_s: float | None = 3.05,
    phase: Phase = Phase.CRANK,
    counts: bool = True,
    more: int = 0,
    again: bool = False,
    **changed: Any,
) -> Symptoms:
    """The battery falls to `lowest_v` at 3.05 s and stands at `back_v` from the loss's end on."""
    battery = put(put(flat(12.6), lowest_v, 3.05, 5.0), back_v, start_s + duration_s - 2 * BIN_S, 5.0)
    losses = (
        loss(start_s, duration_s, phase=phase, counts=counts),
        *(loss(5.5 + 0.1 * i, 0.002, phase=Phase.AFTER) for i in range(more)),
    )
    if again:
        losses = (*losses, loss(4.5, 0.3))
    view = {"battery": battery, "cranks": (crank_of(3.0, 5.0, sag_s=sag_s),)} | changed.pop("view", {})
    return symptoms(losses=losses, view=view, **({"lost_mean_v": 0.0} | changed))


@pytest.mark.parametrize(
    ("changed", "confidence"),
    [
        ({}, 0.97),
        ({"duration_s": 0.02}, 0.97),
        ({"duration_s": 0.019}, None),
        ({"phase": Phase.TURN}, 0.97),
        ({"phase": Phase.RELEASE}, 0.97),
        ({"phase": Phase.AFTER}, None),
        ({"counts": False}, None),
        ({"more": 5}, 0.97),
        ({"more": 6}, None),  # a relay lets go once or a few times
        ({"lost_mean_v": 3.0}, 0.97),
        ({"lost_mean_v": 3.01}, None),
        ({"start_s": 3.041}, None),  # the battery has not sagged yet in that bin
        ({"start_s": 3.06}, 0.97),
        ({"start_s": 3.03}, None),  # a contact is lost before the battery sags
        ({"start_s": 3.549}, 0.97),
        ({"start_s": 3.551}, None),
        ({"sag_s": 3.12, "start_s": 3.111}, 0.97),  # as the sag begins, or 10 ms before
        ({"sag_s": 3.12, "start_s": 3.109}, None),
        ({"again": True}, 0.97),  # the first loss is asked
        ({"sag_s": None, "start_s": 3.5}, 0.97),  # counted from START where no sag was seen
        ({"sag_s": None, "start_s": 3.501}, None),
        ({"duration_s": 1.75}, 0.97),  # nine tenths of the 1.95 s of sag: 1.755 s
        ({"duration_s": 1.76}, 0.96),
        ({"lowest_v": 11.81}, None),  # less than 0.8 V of sag
        ({"lowest_v": 11.79, "back_v": 12.0}, 0.97),
        ({"back_v": 9.9}, None),
        ({"back_v": 10.0}, 0.97),
        ({"view": {"cranks": ()}}, None),
    ],
)
def test_a_relay_that_lets_go_as_the_battery_dips(changed: dict[str, Any], confidence: float | None) -> None:
    assert sure(feed_relay(relay(**changed))) == confidence


def test_the_relays_voltages_are_told() -> None:
    cause = feed_relay(relay())
    assert cause is not None
    assert "dips to 10.00 V and comes back at 11.00 V" in cause.evidence


def test_the_relays_sag_counts_from_key_on_and_doubles_at_24_v() -> None:
    """The battery stood 0.5 V lower with KEY ON than at rest; at 24 V the sag must be 1.6 V."""
    heated = put(put(flat(12.6), 12.1, 1.0, 2.6), 11.4, 3.05, 5.0)
    assert feed_relay(relay(view={"battery": heated})) is None
    phases = ((Phase.CRANK, 3.0, 5.0),)
    assert sure(feed_relay(relay(view={"battery": heated, "phases": phases}))) == 0.97  # without KEY ON from rest
    assert feed_relay(relay(view={"limits": limits_with(24), "rest_v": 12.6}, lowest_v=11.2, back_v=11.3)) is None


def test_the_bin_at_a_time() -> None:
    view = plain_view()
    volts = flat(0.0)
    volts[:] = range(len(volts))
    assert [_battery_at(view, volts, s) for s in (-1.0, BIN_S / 2, 1.5 * BIN_S, 99.0)] == [0.0, 0.0, 1.0, len(volts) - 1]


# --- a loose contact


def loose(count: int = 1, *, kind: Any = "counts", phase: Phase = Phase.CRANK, **changed: Any) -> Symptoms:
    own = tuple(loss(3.2 + 0.1 * i, 0.004, phase=phase, kind=kind, counts=kind == "counts") for i in range(count))
    return symptoms(**({"own": own, "inside": own, "turn": ()} | changed))


@pytest.mark.parametrize(
    ("found", "confidence"),
    [
        (loose(1), 0.7),
        (loose(2), 0.7),
        (loose(3), 0.9),
        (loose(0), None),
        (loose(1, lost_share=0.7), 0.7),
        (loose(1, lost_share=0.71), None),
        (loose(1, ground_share=0.5), 0.7),
        (loose(1, ground_share=0.51), None),
        (loose(9, kind="short"), None),  # a few microseconds are a healthy contact's
        (loose(10, kind="short"), 0.9),
        (loose(9, kind="short", findings=(a_finding(CheckId.FEED_SHORT_LOSSES, Result.FAIL),)), 0.9),
        (loose(9, kind="undecided"), 0.9),
        (loose(1, view={"key_switch": flat(0.0)}), None),
        (loose(1, view={"key_switch": put(a_battery() - 0.49, 0.0, 0.0, 1.0)}), 0.7),
        (loose(1, view={"key_switch": put(a_battery() - 0.51, 0.0, 0.0, 1.0)}), pytest.approx(0.45)),
        (loose(0, findings=(a_finding(CheckId.FEED_DROP_BRIEF, Result.FAIL),)), 0.7),
        (loose(0, findings=(a_finding(CheckId.FEED_DROP_BRIEF, Result.WARN),)), None),
    ],
)
def test_losses_that_come_and_go(found: Symptoms, confidence: float | None) -> None:
    assert sure(feed_loose(found)) == confidence


def test_losses_of_the_travel_and_of_the_end_are_not_loose() -> None:
    one = loss(2.8, 0.004, phase=Phase.TURN)
    assert feed_loose(symptoms(own=(one,), turn=(one,))) is None
    assert sure(feed_loose(symptoms(own=(one,), turn=()))) == 0.7
    for ends_s, confidence in ((7.98, 0.7), (7.995, None)):  # never seen to come back
        last = loss(ends_s - 0.5, 0.5, phase=Phase.AFTER)
        assert sure(feed_loose(symptoms(own=(last,), turn=()))) == confidence
    held = loss(3.5, 0.4, 4.0)
    assert feed_loose(symptoms(own=(held,), turn=())) is None


def test_short_losses_beside_one_that_counts_are_counted() -> None:
    own = (loss(3.2, 0.004), loss(3.3, 0.0001, kind="short", counts=False), loss(5.5, 0.004, phase=Phase.AFTER))
    cause = feed_loose(symptoms(own=own, inside=own[:2], turn=()))
    assert cause is not None
    assert cause.evidence.startswith("3 dropouts, the longest 4 ms, with the key ON,")


def test_a_steady_drop_after_the_crank_makes_a_loose_contact_less_likely() -> None:
    feed = put(a_feed(), 12.6 - 0.6, 5.0, 8.0)
    assert sure(feed_loose(loose(1, view={"key_switch": feed}))) == pytest.approx(0.45)


def test_a_brief_drop_says_nothing_where_losses_count() -> None:
    brief = (a_finding(CheckId.FEED_DROP_BRIEF, Result.FAIL),)
    held = loss(3.5, 0.4, 4.0)
    assert feed_loose(symptoms(findings=brief, own=(held,), turn=())) is None
    short = replace(held, counts=False, kind="short")
    assert sure(feed_loose(symptoms(findings=brief, own=(short,), turn=()))) == 0.7


@pytest.mark.parametrize(
    ("found", "text"),
    [
        (loose(3), "3 dropouts, the longest 4 ms, within the crank,"),
        (loose(2), "a dropout, the longest 4 ms, within the crank,"),
        (loose(3, inside=()), "3 dropouts, the longest 4 ms, with the key ON,"),
        (loose(0, findings=(a_finding(CheckId.FEED_DROP_BRIEF, Result.FAIL),)), "a brief drop with the key ON,"),
    ],
)
def test_what_came_and_went_is_told(found: Symptoms, text: str) -> None:
    cause = feed_loose(found)
    assert cause is not None
    assert cause.evidence.startswith(text)


# --- a ballast resistor


@pytest.mark.parametrize(
    ("on_v", "crank_v", "confidence"),
    [(0.49, 0.0, None), (0.51, 0.0, 0.9), (2.0, 0.99, 0.9), (2.0, 1.01, None)],
)
def test_a_drop_that_start_bypasses(on_v: float, crank_v: float, confidence: float | None) -> None:
    cause = feed_ballast(symptoms(view={"key_switch": feed_drops(on_v, crank_v)}))
    assert sure(cause) == confidence
    assert cause is None or f"drops {on_v:.2f} V with KEY ON" in cause.evidence


def warming(first_v: float, last_v: float) -> dict[str, Any]:
    """The drop in the first half of KEY ON and in its second."""
    feed = put(put(feed_drops(first_v, last_v), 12.6 - first_v, 1.0, 2.0), 12.6 - last_v, 2.0, 3.0)
    return {"key_switch": feed, "phases": ((Phase.KEY_ON, 1.0, 3.0), (Phase.CRANK, 3.0, 5.0))}


@pytest.mark.parametrize(("last_v", "confidence"), [(1.055, None), (1.065, 0.88)])
def test_a_drop_that_grows_as_the_resistor_warms(last_v: float, confidence: float | None) -> None:
    cause = feed_ballast(symptoms(view=warming(1.0, last_v)))
    assert sure(cause) == confidence
    assert cause is None or "6% more within seconds" in cause.evidence


def test_how_much_it_warms() -> None:
    assert _warming(plain_view(**warming(1.0, 1.25))) == pytest.approx(0.25)
    assert _warming(plain_view(**warming(0.11, 0.22))) == pytest.approx(1.0)
    assert _warming(plain_view(**warming(0.09, 0.22))) == 0.0
    assert _warming(plain_view(phases=((Phase.CRANK, 1.0, 3.0),))) == 0.0


@pytest.mark.parametrize(("ends_s", "share"), [(1.99, 0.0), (2.0, 1.0)])
def test_it_takes_a_second_to_warm(ends_s: float, share: float) -> None:
    feed = put(put(a_feed(), 12.1, 1.0, 1.5), 11.6, 1.5, 3.0)
    assert _warming(plain_view(key_switch=feed, phases=((Phase.KEY_ON, 1.0, ends_s),))) == pytest.approx(share)


def test_warming_is_taken_from_the_first_moments_and_the_last() -> None:
    """From 0.02 s to 0.17 s behind the key's coming on, and of the last 0.3 s: nothing between and nothing outside."""
    feed = put(flat(12.6 - 9.0), 0.0, 0.0, 1.0)
    feed = put(put(feed, 12.1, 1.02, 1.1), 11.85, 2.75, 3.0)
    phases = ((Phase.KEY_ON, 1.0, 3.0),)
    assert _warming(plain_view(battery=flat(12.6), key_switch=feed, phases=phases)) == pytest.approx(0.5)


# --- resistance


@pytest.mark.parametrize(
    ("on_v", "crank_v", "changed", "confidence"),
    [
        (0.49, 0.49, {}, None),
        (0.51, 0.51, {}, 0.5),
        (0.51, 0.51, {"findings": (a_finding(CheckId.FEED_DROP_STEADY, Result.FAIL, 0.6),)}, 0.85),
        (0.51, 0.51, {"findings": (a_finding(CheckId.FEED_DROP_STEADY, Result.WARN, 0.6),)}, 0.5),
        (0.6, 1.29, {}, 0.5),  # twice 0.6 V and 0.1 V
        (0.6, 1.31, {}, None),
        (1.0, 0.51, {}, 0.5),
        (1.0, 0.49, {}, None),
        (0.8, 0.8, {"lost_share": 0.71}, None),
        (0.8, 0.8, {"lost_share": 0.70}, 0.5),
        (1.1, 1.1, {"lost_share": 0.71}, 0.5),  # lost in ON as well
        (0.8, 0.8, {"ground_share": 0.50}, 0.5),
        (0.8, 0.8, {"ground_share": 0.51}, None),
        (0.3, 0.3, {"findings": (a_finding(CheckId.FEED_DROP_STEADY, Result.WARN, 0.45),)}, 0.55),
        (0.3, 0.3, {"findings": (a_finding(CheckId.FEED_DROP_STEADY, Result.UNDECIDED, 0.45),)}, None),
        (0.3, 0.3, {"own": (loss(4.0, 0.02, 2.01),)}, 0.55),
        (0.3, 0.3, {"own": (loss(4.0, 0.019, 2.01),)}, None),
        (0.3, 0.3, {"own": (loss(4.0, 0.02, 2.0),)}, None),
        (0.3, 0.3, {"own": (loss(4.0, 0.3, 2.01),)}, 0.75),
        (0.3, 0.3, {"own": (loss(4.0, 0.29, 2.01),)}, 0.55),
        (0.6, 1.4, {"own": (loss(4.0, 0.3, 2.01),)}, 0.75),
        (0.3, 0.3, {"own": (loss(4.0, 0.3, 0.0),), "findings": (a_finding(CheckId.FEED_DROP_STEADY, Result.FAIL, 2.0),)}, None),
    ],
)
def test_too_much_drop_in_on_and_start(on_v: float, crank_v: float, changed: dict[str, Any], confidence: float | None) -> None:
    assert sure(feed_resistance(symptoms(view={"key_switch": feed_drops(on_v, crank_v)}, **changed))) == confidence


@pytest.mark.parametrize(
    ("on_v", "measured_v", "text"), [(0.6, None, "loses 0.60 V"), (0.6, 0.9, "loses 0.90 V"), (0.3, 0.45, "loses volts")]
)
def test_what_the_resistance_loses(on_v: float, measured_v: float | None, text: str) -> None:
    findings = () if measured_v is None else (a_finding(CheckId.FEED_DROP_STEADY, Result.WARN, measured_v),)
    cause = feed_resistance(symptoms(view={"key_switch": feed_drops(on_v, on_v)}, findings=findings))
    assert cause is not None
    assert text in cause.evidence


def test_a_drop_after_the_crank_alone_is_resistance_too() -> None:
    assert sure(feed_resistance(symptoms(view={"key_switch": put(a_feed(), 12.6 - 0.6, 5.0, 8.0)}))) == 0.5


def test_where_key_on_was_not_seen_start_alone_shows_it() -> None:
    view = {"key_switch": feed_drops(0.1, 0.6), "phases": ((Phase.CRANK, 3.0, 5.0),)}
    assert sure(feed_resistance(symptoms(view=view))) == 0.5


# --- a fuse


def test_never_live_or_gone_for_good() -> None:
    never = fuse_or_link(symptoms(view={"key_switch": flat(0.0), "on": None}))
    gone = fuse_or_link(symptoms(view={"key_switch": put(a_feed(), 0.0, 4.0, 8.0), "dead_from_s": 4.0}))
    assert (sure(never), sure(gone)) == (0.4, 0.6)
    assert fuse_or_link(symptoms()) is None
