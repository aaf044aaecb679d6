"""How a visit goes on: one pure function from a visit and an event to the next visit. Order and limits of a first start.

Sources: accelerator released, wait lamp, crank at once, oil pressure within 15 s, no more than 15 s of cranking: published engine
manuals, common practice where they differ; first burst of 5 s, rest of four times the crank and 30 s: the tool's own limits. The engine
maker's figures win.
"""

from __future__ import annotations

from dataclasses import replace

from firstcrank.visit.values import Bins, Burst, Clock, Event, Key, Leads, Stage, Visit

BURSTS_S = (5.0, 10.0, 15.0)  # longest crank of the first, second, third burst
REST_TIMES, REST_LEAST_S = 4.0, 30.0
STANDSTILL_S = 5.0
OIL_S = 15.0
OIL_GRACE_S = 10.0  # the key must be off so long after the limit, else the visit ends with the engine running and says so
SOAK_S = 900.0  # 15 min with the key off, then the hot restart: common practice, no source
IDLE_S = 62.0  # charging is judged after a minute
SETTLE_S = 2.5  # watched after a crank in any case, for the judge
NO_FEED_S = 0.3
DEAD_S = 0.05
MOST_HELD_S = 6.0  # an end that is asked for waits at most so long for evidence that watching brings
ALONE_S = 6.5  # watched after the first burst where nobody can answer
BRIDGED = "the engine was turned without the starter lead going live: lead off the S terminal (50), or the starter bridged"
BEFORE_CRANK = (Stage.SEE_OFF, Stage.SEE_ON, Stage.WAIT_LAMP, Stage.READY)
AFTER_START = (Stage.OIL, Stage.IDLE, Stage.OFF_AFTER, Stage.SOAK)


def burst_limit_s(visit: Visit) -> float:
    """The longest crank that this burst may be, seconds: short while the engine is dry, never over the maker's limit."""
    ours_s = BURSTS_S[min(len(visit.bursts_now), len(BURSTS_S) - 1)]
    makers_s = visit.makers.starter_on_s
    return ours_s if makers_s is None else min(ours_s, makers_s)


def rest_s(visit: Visit, cranked_s: float) -> float:
    """Rest after a crank: the maker's, else four times the crank and 30 s at least; never less than it takes to stand still."""
    makers_s = visit.makers.rest_s
    due_s = max(REST_TIMES * cranked_s, REST_LEAST_S) if makers_s is None else makers_s
    return max(due_s, STANDSTILL_S)


def step(visit: Visit, event: Event) -> Visit:
    """The visit after one event. Nothing is changed in place."""
    if visit.stage is Stage.OVER:
        return visit
    if isinstance(event, Leads):
        return replace(visit, leads=event.lines, leads_seen=True)
    if isinstance(event, Key):
        return _pressed(replace(visit, now_s=max(visit.now_s, event.now_s)), event.letter)
    if isinstance(event, Clock):
        return _timed(replace(visit, now_s=max(visit.now_s, event.now_s)))
    return _timed(_seen(visit, event))


def _go(visit: Visit, stage: Stage, why: str = "") -> Visit:
    return replace(visit, stage=stage, since_s=visit.now_s, why=why or visit.why)


def _seen(visit: Visit, bins: Bins) -> Visit:
    visit = replace(
        visit,
        now_s=bins.now_s,
        battery_v=bins.battery_v,
        feed_v=bins.feed_v,
        lowest_v=bins.lowest_v,
        missing=bins.missing,
        wait_s=bins.wait_s,
        dead_since_s=_dead_since_s(visit, bins),
        key_proved=visit.key_proved or bins.feed_v > visit.feed_live_v,
    )
    if bins.bridged and visit.bridged_s is None:
        visit = replace(visit, bridged_s=visit.now_s, noted=(*visit.noted, BRIDGED))
    if bins.state == "cranking" and visit.stage is not Stage.CRANKING:
        return _begin_crank(visit, bins)
    if visit.stage is Stage.CRANKING:
        return _in_crank(visit, bins)
    if visit.stage is Stage.SEE_OFF and bins.state != "key off?":
        return _go(visit, Stage.SEE_ON)
    if visit.stage is Stage.SEE_ON and bins.feed_v > visit.feed_live_v and bins.state in ("key on", "released"):
        return _go(visit, Stage.WAIT_LAMP if not visit.bursts_now else Stage.READY)
    if visit.stage in (Stage.WAIT_LAMP, Stage.READY) and _dead_for(visit, NO_FEED_S):
        return _go(visit, Stage.SEE_ON)
    if visit.stage is Stage.REST and bins.running and not visit.ran:
        return _runs(visit)
    if visit.stage is Stage.OIL and _dead_for(visit, NO_FEED_S):
        return _no_oil(visit, "key off")
    return visit


def _dead_since_s(visit: Visit, bins: Bins) -> float | None:
    if bins.feed_v >= visit.feed_off_v:
        return None
    return visit.dead_since_s if visit.dead_since_s is not None else bins.now_s


def _dead_for(visit: Visit, seconds: float) -> bool:
    return visit.dead_since_s is not None and visit.now_s - visit.dead_since_s >= seconds


def _begin_crank(visit: Visit, bins: Bins) -> Visit:
    noted = visit.noted
    if visit.stage is Stage.SEE_OFF:
        noted = (*noted, "cranked before the key was seen off")
    elif visit.stage is Stage.SEE_ON:
        noted = (*noted, "cranked with no feed seen in ON")
    elif visit.stage is Stage.WAIT_LAMP:
        noted = (*noted, "cranked before the WAIT lamp was answered for")
    elif visit.stage is Stage.REST:
        noted = (*noted, f"cranked {max(visit.rest_until_s - visit.now_s, 0.0):.0f} s before the rest was over")
    elif visit.stage is Stage.SOAK:
        noted = (*noted, "hot restart before the soak was over")
        visit = replace(visit, cold_bursts=len(visit.bursts))
    elif visit.stage in AFTER_START:
        noted = (*noted, "cranked again after the engine had run")
    visit = replace(visit, noted=noted, crank_from_s=bins.now_s - bins.crank_s, feed_dead=False, ran=False, ending="")
    return _in_crank(_go(visit, Stage.CRANKING), bins)


def _in_crank(visit: Visit, bins: Bins) -> Visit:
    dead = visit.feed_dead or _dead_for(visit, DEAD_S) or (bins.feed_v < visit.feed_off_v and bins.crank_s > DEAD_S)
    visit = replace(visit, feed_dead=dead, ran=visit.ran or bins.running)
    if bins.state == "cranking":
        return visit
    lasted_s = bins.crank_s if bins.crank_s > 0.0 else visit.now_s - visit.crank_from_s
    held = bins.feed_good and not visit.feed_dead
    burst = Burst(visit.crank_from_s, lasted_s, held, visit.ran)
    visit = replace(visit, bursts=(*visit.bursts, burst), rest_until_s=visit.now_s + rest_s(visit, lasted_s))
    return _runs(visit) if visit.ran and visit.guided else _go(visit, Stage.REST)


def _runs(visit: Visit) -> Visit:
    last = visit.bursts[-1]
    visit = replace(visit, ran=True, bursts=(*visit.bursts[:-1], replace(last, ran=True)))
    return _go(visit, Stage.OIL) if visit.guided else visit


def _no_oil(visit: Visit, then: str) -> Visit:
    due_s = visit.makers.oil_s or OIL_S
    why = (
        f"no oil pressure seen, {then}"
        if visit.now_s - visit.since_s < due_s
        else f"no oil pressure within {due_s:.0f} s, {then}"
    )
    return _go(replace(visit, noted=(*visit.noted, why)), Stage.OVER, f"{why}: find out why before the next crank")


def _asked_to_end(visit: Visit, why: str) -> Visit:
    """The end, at once where no more watching helps the verdict or it is asked for again; else when the evidence is there."""
    if visit.ending or visit.air or not visit.bursts or visit.wait_s <= 0.0 or _dead_for(visit, DEAD_S):
        return _go(visit, Stage.OVER, visit.ending or why)
    return replace(visit, ending=why, ending_since_s=visit.now_s)


def _held(visit: Visit) -> Visit:
    """A visit that was asked to end, one event later."""
    if visit.wait_s > 0.0 and not _dead_for(visit, DEAD_S) and visit.now_s - visit.ending_since_s < MOST_HELD_S:
        return visit
    return _go(visit, Stage.OVER, visit.ending)


def _timed(visit: Visit) -> Visit:
    in_stage_s = visit.now_s - visit.since_s
    if visit.ending:
        return _held(visit)
    if not visit.guided:
        return visit
    last_s = visit.bursts[-1].start_s + visit.bursts[-1].lasted_s if visit.bursts else 0.0
    if visit.stage in BEFORE_CRANK and visit.now_s - max(last_s, visit.hot_from_s) > visit.patience_s:
        return _go(visit, Stage.OVER, f"no crank in {visit.patience_s / 60.0:g} minutes")
    if not visit.attended and visit.bridged_s is not None and visit.now_s - visit.bridged_s > ALONE_S:
        return _go(visit, Stage.OVER, BRIDGED)
    if not visit.attended and visit.bursts and visit.stage is not Stage.CRANKING and visit.now_s - last_s > ALONE_S:
        return _go(visit, Stage.OVER, "nobody there to go on")
    if visit.stage is Stage.REST:
        return _rested(visit, in_stage_s)
    if visit.stage is Stage.OIL and not visit.air and in_stage_s > (visit.makers.oil_s or OIL_S) + OIL_GRACE_S:
        return _no_oil(visit, "the key is still on: turn it off now")
    if visit.stage is Stage.SOAK and in_stage_s > SOAK_S:
        return _hot(visit)
    if visit.stage is Stage.IDLE and in_stage_s > IDLE_S:
        return _go(replace(visit, answered=(*visit.answered, "idled for a minute, charging watched")), Stage.OFF_AFTER)
    if visit.stage is Stage.OFF_AFTER and _dead_for(visit, (visit.makers.power_down_s or 0.0) + 1.5):
        return _after_off(replace(visit, answered=(*visit.answered, "key off: feed seen dead")))
    return visit


def _after_off(visit: Visit) -> Visit:
    """The hot restart, where it has not been and somebody is there."""
    if visit.cold_bursts is not None or not visit.attended:
        return _go(visit, Stage.OVER, "the whole start was watched")
    return _go(visit, Stage.SOAK)


def _hot(visit: Visit) -> Visit:
    return _go(replace(visit, cold_bursts=len(visit.bursts), hot_from_s=visit.now_s, ran=False), Stage.SEE_ON)


def _rested(visit: Visit, in_stage_s: float) -> Visit:
    if in_stage_s < SETTLE_S or visit.ran:
        return visit
    if not visit.bursts[-1].feed_held:
        return _go(visit, Stage.OVER, "the feed did not hold: find the cause before the next crank")
    if len(visit.bursts_now) >= len(BURSTS_S):
        return _go(visit, Stage.OVER, "three bursts without a start: find the cause, the fuel supply first")
    if visit.now_s < visit.rest_until_s:
        return visit
    return _go(visit, Stage.READY)


def _pressed(visit: Visit, letter: str) -> Visit:
    letter = letter.lower()
    if letter == "a":
        return replace(
            visit, air=not visit.air, noted=visit.noted if visit.air else (*visit.noted, "the engine ran away: air shut")
        )
    if letter == "q":
        return _asked_to_end(visit, "ended at the keyboard")
    if visit.ending:
        return _asked_to_end(visit, visit.ending) if letter == "s" else visit
    if visit.stage is Stage.WAIT_LAMP and letter in (" ", "\r", "\n"):
        return _go(replace(visit, answered=(*visit.answered, "WAIT lamp lit and went out")), Stage.READY)
    if visit.stage is Stage.WAIT_LAMP and letter == "n":
        return _go(replace(visit, noted=(*visit.noted, "no WAIT lamp seen: bulb, wire or a warm engine")), Stage.READY)
    if visit.stage is Stage.REST and letter == "r" and visit.bursts:
        return _runs(visit)
    if visit.stage is Stage.OIL and letter == "o":
        return _after_oil(replace(visit, answered=(*visit.answered, "oil pressure seen")))
    if visit.stage is Stage.SOAK and letter == "h":
        minutes = (visit.now_s - visit.since_s) / 60.0
        return _hot(replace(visit, answered=(*visit.answered, f"hot restart after {minutes:.0f} min of soak")))
    if letter == "s" and visit.stage in AFTER_START:
        return _skipped(replace(visit, skipped=(*visit.skipped, str(visit.stage))))
    return visit


def _after_oil(visit: Visit) -> Visit:
    """Idle and charging are watched once, cold."""
    return _go(visit, Stage.IDLE if visit.cold_bursts is None else Stage.OFF_AFTER)


def _skipped(visit: Visit) -> Visit:
    if visit.stage is Stage.OIL:
        return _after_oil(visit)
    if visit.stage is Stage.IDLE:
        return _go(visit, Stage.OFF_AFTER)
    if visit.stage is Stage.OFF_AFTER and visit.cold_bursts is None and visit.attended:
        return _go(visit, Stage.SOAK)
    return _asked_to_end(visit, "the last step was skipped")
