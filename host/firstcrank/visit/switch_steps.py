"""The switch test as it happens: which position comes next, and how often START was seen. Pure; the answer comes from the recording."""

from __future__ import annotations

from dataclasses import dataclass, replace

from firstcrank.thresholds.switch import SWITCH
from firstcrank.thresholds.visit import VISIT
from firstcrank.visit.values import Bins, Event, Key, Show, Word


@dataclass(frozen=True, slots=True)
class SwitchVisit:
    """`position` is where the key is by what was seen; `turns` counts completed turns through START."""

    feed_off_v: float = 2.0
    feed_live_v: float = 5.0
    position: str = "?"
    since_s: float = 0.0
    now_s: float = 0.0
    turns: int = 0
    lost: bool = False
    over: bool = False


def switch_step(visit: SwitchVisit, event: Event) -> SwitchVisit:
    """The visit after one event; the tracker's "cranking" is the S wire being live."""
    if isinstance(event, Key):
        return replace(visit, over=visit.over or event.letter.lower() == "q")
    if not isinstance(event, Bins):
        return visit
    visit = replace(visit, now_s=event.now_s)
    if event.state == "cranking":
        visit = replace(visit, lost=visit.lost or event.feed_v < visit.feed_off_v)
        return visit if visit.position == "START" else replace(visit, position="START", since_s=event.now_s)
    turns = visit.turns + (visit.position == "START")
    position = "OFF" if event.feed_v < visit.feed_off_v else "ON" if event.feed_v > visit.feed_live_v else visit.position
    if position == visit.position and turns == visit.turns:
        return visit
    return replace(visit, position=position, since_s=event.now_s, turns=turns)


def switch_show(visit: SwitchVisit) -> Show:
    """The position that comes next, as one large word."""
    line = f"{visit.turns} of {SWITCH.turns_wanted} turns through START. No engine turns; this is no start."
    keys = (("q", "done"),)
    held_s = visit.now_s - visit.since_s
    if visit.position == "START":
        if visit.lost:
            return Show(Word.LET_GO, "FEED LOST IN START: let go.", (line,), keys, held_s, warning=True)
        return Show(
            Word.LET_GO if held_s > VISIT.switch_start_s else Word.START, line, ("Back slowly after 3 s.",), keys, held_s
        )
    if visit.position == "ON":
        word = Word.START if held_s > VISIT.switch_on_s else Word.WAIT
        return Show(word, line, ("Let the WAIT lamp finish, then START for 3 s; or key off after a turn.",), keys, held_s)
    if visit.position == "OFF":
        return Show(Word.KEY_ON, line, ("OFF for 2 s, then ON.",), keys, held_s)
    return Show(Word.KEY_OFF, line, ("Waiting to see the feed dead.",), keys)
