"""What a visit shows: a pure function from the visit to one large word, a line, keys and timers."""

from __future__ import annotations

from firstcrank.thresholds.visit import VISIT
from firstcrank.units import sentence
from firstcrank.visit.ending import ending_of
from firstcrank.visit.steps import BEFORE_CRANK, BRIDGED, BURSTS_S, EXCHANGED, burst_limit_s, no_crank_reason, put_right
from firstcrank.visit.values import Show, Stage, Visit, Word

AIR = ("a", "it runs away")
QUIT = ("q", "end")
WAIT_KEYS = (("space", "lamp is out"), ("n", "no lamp seen"), QUIT)
LATE = "Ears first: this screen may be a second late."


def show(visit: Visit) -> Show:
    """What to show now."""
    if visit.air:
        return Show(
            Word.SHUT_AIR,
            "Plate over the intake, never a hand or a rag; then keep clear. The key does not stop a runaway.",
            keys=(("k", "it stands still"), QUIT),
            warning=True,
        )
    if visit.fault and visit.stage is not Stage.OVER:
        return _key_off_now(visit)
    if visit.ending and visit.stage is not Stage.OVER:
        line = f"LEAVE THE KEY ON for {max(visit.wait_s, 0.5):.1f} s more: the verdict needs it."
        return Show(Word.REST, line, (f"Then: {visit.ending}.",), (("q", "end at once"), AIR), countdown_s=visit.wait_s)
    if visit.stage in BEFORE_CRANK and visit.stage is not Stage.SEE_OFF and no_crank_reason(visit):
        return _leads_wrong(visit)
    return {
        Stage.SEE_OFF: _see_off,
        Stage.SEE_ON: _see_on,
        Stage.WAIT_LAMP: _wait_lamp,
        Stage.READY: _ready,
        Stage.CRANKING: _cranking,
        Stage.REST: _rest,
        Stage.OIL: _oil,
        Stage.IDLE: _idle,
        Stage.OFF_AFTER: _off_after,
        Stage.SOAK: _soak,
        Stage.OVER: _over,
    }[visit.stage](visit)


def lead_lines(visit: Visit) -> tuple[str, ...]:
    """What is wrong with the leads, a line each; exchanged leads stand alone, since nothing else can be read from them."""
    return tuple(f"Check the leads: {line}" for line in ((EXCHANGED,) if visit.exchanged else visit.leads))


def _key_off_now(visit: Visit) -> Show:
    if visit.fault == "runaway":
        lines = ("Do not crank again before its cause is found. The plate stays at hand.", "It runs again: a.")
        return Show(Word.KEY_OFF, "It ran away. Key off, and leave it off.", lines, (AIR, QUIT), warning=True)
    line = f"{sentence(visit.why)}: KEY OFF, find out why."
    lines = ("No second start before the cause is found.", "It does not stop: a.")
    return Show(Word.KEY_OFF, line, lines, (AIR, QUIT), warning=True)


def _leads_wrong(visit: Visit) -> Show:
    line = f"NO CRANK: key off, {put_right(visit)}."
    lines = lead_lines(visit) or (f"{sentence(visit.unproved)}.",)
    return Show(Word.KEY_OFF, line, lines, (QUIT,), warning=True)


def _leads(visit: Visit) -> tuple[str, ...]:
    lines = lead_lines(visit)
    if visit.bridged_s is not None:
        lines = (*lines, f"{BRIDGED[0].upper()}{BRIDGED[1:]}. That is no start by the key.")
    if visit.leads_seen and not visit.leads and not visit.key_proved:
        return (*lines, "Battery lead reads right. Key lead not proved yet: it must come alive in ON.")
    return lines


def _see_off(visit: Visit) -> Show:
    wrong = bool(visit.leads) or visit.exchanged
    return Show(Word.KEY_OFF, "Waiting to see the feed dead.", _leads(visit), (QUIT,), warning=wrong)


def _see_on(visit: Visit) -> Show:
    if visit.feed_v >= visit.feed_off_v:
        return Show(Word.KEY_ON, "The feed comes alive.", _leads(visit), (QUIT,))
    if visit.bursts or visit.key_proved:
        return Show(Word.KEY_ON, "NO FEED: DO NOT CRANK. Turn the key ON.", _leads(visit), (QUIT,), warning=True)
    line = "Feed seen dead. Turn the key ON. NO FEED YET: DO NOT CRANK."
    return Show(Word.KEY_ON, line, _leads(visit), (QUIT,))


def _wait_again(visit: Visit) -> Show:
    number = len(visit.bursts_now) + 1
    lines = (
        "The heat of the last cycle is lost. Lamp out again: CRANK AT ONCE, foot off the accelerator pedal.",
        f"At most {burst_limit_s(visit):.0f} s. Not before the engine stands still.",
    )
    line = f"Burst {number} of {len(BURSTS_S)}: KEY OFF, then KEY ON for another WAIT cycle."
    return Show(Word.KEY_OFF, line, (*lines, *_leads(visit)), WAIT_KEYS)


def _wait_lamp(visit: Visit) -> Show:
    if visit.bursts_now and not visit.cycled:
        return _wait_again(visit)
    lines = (
        "The lamp decides: it lights, then goes out. Foot off the accelerator pedal.",
        "When it goes out CRANK AT ONCE; the heat is lost in seconds.",
        f"Let go when the engine runs up by itself, or after {burst_limit_s(visit):.0f} s.",
    )
    return Show(
        Word.WAIT,
        "WAIT lamp still lit?",
        (*lines, *_leads(visit)),
        WAIT_KEYS,
        count_s=_in_stage_s(visit),
    )


def _ready(visit: Visit) -> Show:
    limit_s = burst_limit_s(visit)
    number = len(visit.bursts_now) + 1
    line = f"Burst {number} of {len(BURSTS_S)}: at most {limit_s:.0f} s. Foot off the pedal."
    return Show(Word.CRANK, line, ("Let go when it runs up by itself, not at the first cough.", LATE, *_leads(visit)), (QUIT,))


def _cranking(visit: Visit) -> Show:
    cranked_s = visit.now_s - visit.crank_from_s
    left_s = max(burst_limit_s(visit) - cranked_s, 0.0)
    keys = (AIR,)
    if visit.feed_dead:
        return Show(Word.LET_GO, "FEED DEAD: let go.", ("The engine can't fire without it.",), keys, cranked_s, left_s, True)
    if visit.ran:
        return Show(Word.LET_GO, "It runs up by itself: let go.", (LATE,), keys, cranked_s, left_s)
    if no_crank_reason(visit):
        lines = lead_lines(visit) or (f"{sentence(visit.unproved)}: this crank proves nothing.",)
        return Show(Word.LET_GO, f"Let go, then KEY OFF: {put_right(visit)}.", lines, keys, cranked_s, left_s, True)
    if left_s <= 0.0:
        return Show(Word.LET_GO, "Long enough: let go.", ("The starter rests next.",), keys, cranked_s, left_s, True)
    answered_for = visit.guided and visit.attended  # else nobody was there whom the lamp's question could reach
    early = tuple(f"Noted: {text}." for text in visit.noted[-1:] if answered_for and "WAIT" in text)
    return Show(Word.CRANK, "Cranking. Let go when it runs up by itself.", (LATE, *early), keys, cranked_s, left_s)


def _rest(visit: Visit) -> Show:
    left_s = max(visit.rest_until_s - visit.now_s, 0.0)
    lines = tuple(f"Still missing: {text}" for text in visit.missing)
    if no_crank_reason(visit):
        keys = (("r", "it runs by itself"), AIR, QUIT) if visit.guided else (AIR,)
        return Show(Word.KEY_OFF, f"Key off, {put_right(visit)}.", lead_lines(visit) or lines, keys, warning=True)
    if not visit.guided:
        return Show(Word.REST, "LEAVE THE KEY ON; if the engine runs, let it run.", lines, (AIR,))
    return Show(
        Word.REST,
        "Leave the key ON. Not again before the engine stands still.",
        lines,
        (("r", "it runs by itself"), AIR, QUIT),
        countdown_s=left_s,
    )


def _oil(visit: Visit) -> Show:
    due_s = visit.makers.oil_s or VISIT.oil_s
    left_s = max(due_s - _in_stage_s(visit), 0.0)
    keys = (("o", "oil pressure shows"), ("s", "skip"), AIR)
    return Show(Word.OIL, "It runs. Oil pressure? No revving until it is seen.", (), keys, countdown_s=left_s)


def _idle(visit: Visit) -> Show:
    lines = (
        "No load, no revs, 3 to 5 min. Hands clear; no look at the injection lines.",
        "No battery or alternator lead comes off now.",
    )
    return Show(
        Word.IDLE,
        f"Idle for a minute: charging is watched. Battery {visit.battery_v:.1f} V.",
        lines,
        (("s", "skip"), AIR),
        count_s=_in_stage_s(visit),
    )


def _off_after(visit: Visit) -> Show:
    lines = (
        "The engine stops at once, the feed goes dead. It does not stop: a.",
        "Battery switch stays closed until the module is down.",
    )
    return Show(
        Word.KEY_OFF, f"Key off now. Feed {visit.feed_v:.1f} V.", lines, (("s", "skip"), AIR), count_s=_in_stage_s(visit)
    )


def _soak(visit: Visit) -> Show:
    lines = (
        "Relays and starter pull in later when hot: this is where a weak one shows.",
        "Key stays off. Hot parts: hands clear.",
    )
    return Show(
        Word.REST,
        "Hot restart after 15 min of soak: leave everything connected.",
        lines,
        (("h", "restart now"), ("s", "skip"), QUIT),
        countdown_s=max(VISIT.soak_s - _in_stage_s(visit), 0.0),
    )


def _over(visit: Visit) -> Show:
    word = Word.KEY_OFF if ending_of(visit).key_off else Word.DONE
    return Show(word, visit.why or "Done.", tuple(f"Skipped: {name}" for name in visit.skipped))


def _in_stage_s(visit: Visit) -> float:
    return max(visit.now_s - visit.since_s, 0.0)
