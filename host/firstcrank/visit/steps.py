"""How a visit goes on: one pure function from a visit and an event to the next visit. Order and limits of a first start.

Sources: accelerator released, wait lamp, crank at once, oil pressure within 15 s, no more than 15 s of cranking: published engine
manuals, common practice where they differ; first burst of 5 s, rest of four times the crank and 30 s: the tool's own limits. The engine
maker's figures win.
"""

from __future__ import annotations

from dataclasses import replace

from firstcrank.thresholds.key import KEY
from firstcrank.thresholds.vehicle import VEHICLE
from firstcrank.thresholds.visit import VISIT
from firstcrank.visit.values import Bins, Burst, Clock, Event, Key, Leads, Stage, Visit

IDLE_S = VEHICLE.charging_watch_s + VEHICLE.charging_late_s  # then charging can be judged
BURSTS_S = (VISIT.burst_one_s, VISIT.burst_two_s, VISIT.burst_three_s)
BRIDGED = "the engine was turned without the starter lead going live: lead off the S terminal (50), or the starter bridged"
EXCHANGED = "battery lead dead and key lead live with the key off: the two leads look exchanged"
NEVER_SEEN_OFF = "the key feed was never seen off"
NOT_UP_BEFORE = "the key feed was not up before the crank"
RAN_AWAY = "the engine ran away: air shut"
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
    due_s = max(VISIT.rest_times * cranked_s, VISIT.rest_least_s) if makers_s is None else makers_s
    return max(due_s, VISIT.standstill_s)


def no_crank_reason(visit: Visit) -> str:
    """Why no burst may come now: leads that are wrong, or a feed that this recording cannot prove any more; empty where one may."""
    if visit.exchanged:
        return EXCHANGED
    return visit.leads[0] if visit.leads else visit.unproved


def put_right(visit: Visit) -> str:
    """What to do about it: the leads, or a key that was turned from OFF to START in one sweep."""
    swept = no_crank_reason(visit) == NOT_UP_BEFORE
    return "start again: KEY ON, WAIT lamp, then START" if swept else "put the leads right, then start again"


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
        exchanged=_exchanged(visit, bins),
        unproved=bins.unproved,
    )
    if bins.bridged and visit.bridged_s is None:
        visit = replace(visit, bridged_s=visit.now_s, noted=(*visit.noted, BRIDGED))
    if visit.fault and visit.stage is not Stage.CRANKING:
        return visit
    if bins.state == "cranking" and visit.stage is not Stage.CRANKING:
        return _begin_crank(visit, bins)
    if visit.stage is Stage.CRANKING:
        return _in_crank(visit, bins)
    if visit.stage is Stage.SEE_OFF and bins.state != "key off?":
        return _go(visit, Stage.SEE_ON)
    if visit.stage is Stage.SEE_ON and bins.feed_v > visit.feed_live_v and bins.state in ("key on", "released"):
        return _go(visit, Stage.WAIT_LAMP if visit.wait_lamp or not visit.bursts_now else Stage.READY)
    if visit.stage in (Stage.WAIT_LAMP, Stage.READY) and _dead_for(visit, VISIT.no_feed_s):
        return _go(replace(visit, cycled=True), Stage.SEE_ON)
    if visit.stage is Stage.REST and bins.running and not visit.ran:
        return _runs(visit)
    if visit.stage is Stage.OIL and _dead_for(visit, VISIT.no_feed_s):
        return _key_off_without_oil(visit)
    return visit


def _exchanged(visit: Visit, bins: Bins) -> bool:
    """Remembered while the key is ON, when both leads read alike, until the battery lead is live beside a key lead that is dead."""
    if bins.state == "key off?" and bins.battery_v < visit.feed_off_v and bins.feed_v > visit.feed_live_v:
        return True
    return visit.exchanged and not (bins.battery_v > visit.feed_live_v and bins.feed_v < visit.feed_off_v)


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
        again = visit.bursts_now and not visit.cycled
        number = len(visit.bursts_now) + 1
        noted = (
            *noted,
            f"burst {number} without another WAIT cycle" if again else "cranked before the WAIT lamp was answered for",
        )
    elif visit.stage is Stage.REST:
        noted = (*noted, f"cranked {max(visit.rest_until_s - visit.now_s, 0.0):.0f} s before the rest was over")
    elif visit.stage is Stage.SOAK:
        noted = (*noted, "hot restart before the soak was over")
        visit = replace(visit, cold_bursts=len(visit.bursts))
    elif visit.stage in AFTER_START:
        noted = (*noted, "cranked again after the engine had run")
    if visit.exchanged:
        noted = (*noted, EXCHANGED)
    visit = replace(visit, noted=noted, crank_from_s=bins.now_s - bins.crank_s, feed_dead=False, ran=False, ending="")
    return _in_crank(_go(visit, Stage.CRANKING), bins)


def _in_crank(visit: Visit, bins: Bins) -> Visit:
    dead = (
        visit.feed_dead
        or _dead_for(visit, KEY.dead_least_s)
        or (bins.feed_v < visit.feed_off_v and bins.crank_s > KEY.dead_least_s)
    )
    visit = replace(visit, feed_dead=dead, ran=visit.ran or bins.running)
    if bins.state == "cranking":
        return visit
    lasted_s = bins.crank_s if bins.crank_s > 0.0 else visit.now_s - visit.crank_from_s
    visit = _with_burst(visit, lasted_s, bins.feed_good and not visit.feed_dead)
    visit = replace(visit, rest_until_s=visit.now_s + rest_s(visit, lasted_s), cycled=False)
    return _runs(visit) if visit.ran and visit.guided else _go(visit, Stage.REST)


def _with_burst(visit: Visit, lasted_s: float, feed_held: bool) -> Visit:
    return replace(visit, bursts=(*visit.bursts, Burst(visit.crank_from_s, lasted_s, feed_held, visit.ran)))


def _runs(visit: Visit) -> Visit:
    last = visit.bursts[-1]
    visit = replace(visit, ran=True, bursts=(*visit.bursts[:-1], replace(last, ran=True)))
    return _go(visit, Stage.OIL) if visit.guided else visit


def _key_off_without_oil(visit: Visit) -> Visit:
    """The key went off before anybody answered for the oil pressure; where nobody is there to answer it proves no fault."""
    if not visit.attended:
        return _go(visit, Stage.OVER, "key off before the oil pressure was asked for")
    return _fault_over(_no_oil(visit, "no oil pressure seen"))


def _no_oil(visit: Visit, why: str) -> Visit:
    """KEY OFF until the feed is seen dead; no key leads back."""
    visit = replace(visit, fault="no oil pressure", fault_s=visit.now_s, noted=(*visit.noted, why))
    return _go(visit, Stage.OFF_AFTER, why)


def _stands_still(visit: Visit) -> Visit:
    """The runaway is over: key off and no further step."""
    if visit.stage is Stage.CRANKING:
        visit = _with_burst(replace(visit, ran=True), visit.now_s - visit.crank_from_s, not visit.feed_dead)
    visit = replace(visit, air=False, answered=(*visit.answered, "the engine stands still after the runaway"))
    return _go(visit, Stage.OFF_AFTER, RAN_AWAY)


def _with_fault(visit: Visit) -> Visit:
    """A visit that ends with a fault: it goes on until the feed is seen dead, as long as patience lasts."""
    if visit.now_s - visit.fault_s > visit.patience_s:
        still_on = "it was not seen to stand still" if visit.air else "the key is still on: turn it off now"
        return _go(visit, Stage.OVER, f"{visit.why or RAN_AWAY}, {still_on}")
    return visit if visit.air or not _dead_for(visit, VISIT.no_feed_s) else _fault_over(visit)


def _fault_over(visit: Visit) -> Visit:
    return _go(visit, Stage.OVER, f"{visit.why}, key off: find out why before the next crank")


def _asked_to_end(visit: Visit, why: str) -> Visit:
    """The end, at once where no more watching helps the verdict or it is asked for again; else when the evidence is there."""
    if (
        visit.ending
        or visit.fault
        or visit.unproved
        or not visit.bursts
        or visit.wait_s <= 0.0
        or _dead_for(visit, KEY.dead_least_s)
    ):
        return _go(visit, Stage.OVER, visit.ending or why)
    return replace(visit, ending=why, ending_since_s=visit.now_s)


def _held(visit: Visit) -> Visit:
    """A visit that was asked to end, one event later."""
    if visit.wait_s > 0.0 and not _dead_for(visit, KEY.dead_least_s) and visit.now_s - visit.ending_since_s < VISIT.most_held_s:
        return visit
    return _go(visit, Stage.OVER, visit.ending)


def _timed(visit: Visit) -> Visit:
    if visit.stage is Stage.OVER:
        return visit
    in_stage_s = visit.now_s - visit.since_s
    if visit.fault:
        return _with_fault(visit)
    if visit.ending:
        return _held(visit)
    if not visit.guided:
        return visit
    last_s = visit.bursts[-1].start_s + visit.bursts[-1].lasted_s if visit.bursts else 0.0
    if visit.stage in BEFORE_CRANK and visit.now_s - max(last_s, visit.hot_from_s) > visit.patience_s:
        return _go(visit, Stage.OVER, f"no crank in {visit.patience_s / 60.0:g} minutes")
    if not visit.attended and visit.bridged_s is not None and visit.now_s - visit.bridged_s > VISIT.alone_s:
        return _go(visit, Stage.OVER, BRIDGED)
    if not visit.attended and visit.bursts and visit.stage is not Stage.CRANKING and visit.now_s - last_s > VISIT.alone_s:
        return _go(visit, Stage.OVER, "nobody there to go on")
    if visit.stage is Stage.REST:
        return _rested(visit, in_stage_s)
    if visit.stage is Stage.OIL and in_stage_s > (visit.makers.oil_s or VISIT.oil_s):
        return _no_oil(visit, f"no oil pressure within {visit.makers.oil_s or VISIT.oil_s:.0f} s")
    if visit.stage is Stage.SOAK and in_stage_s > VISIT.soak_s:
        return _hot(visit)
    if visit.stage is Stage.IDLE and in_stage_s > IDLE_S:
        return _go(replace(visit, answered=(*visit.answered, "idled for a minute, charging watched")), Stage.OFF_AFTER)
    if visit.stage is Stage.OFF_AFTER and _dead_for(visit, (visit.makers.power_down_s or 0.0) + VISIT.off_longer_s):
        return _after_off(replace(visit, answered=(*visit.answered, "key off: feed seen dead")))
    return visit


def _after_off(visit: Visit) -> Visit:
    """The hot restart, where it has not been and somebody is there."""
    if visit.cold_bursts is not None or not visit.attended:
        return _go(visit, Stage.OVER, "the whole start was watched")
    return _soak(visit)


def _soak(visit: Visit) -> Visit:
    """The soak before the hot restart, where another crank may come."""
    why = _no_more_cranks(visit)
    return _go(visit, Stage.OVER, why) if why else _go(visit, Stage.SOAK)


def _no_more_cranks(visit: Visit) -> str:
    """Only where the feed passed there is another burst."""
    if not all(burst.feed_held for burst in visit.bursts):
        return "the feed did not hold: find the cause before the next crank"
    reason = no_crank_reason(visit)
    return f"{reason}; key off, {put_right(visit)}" if reason else ""


def _hot(visit: Visit) -> Visit:
    return _go(replace(visit, cold_bursts=len(visit.bursts), hot_from_s=visit.now_s, ran=False, cycled=False), Stage.SEE_ON)


def _rested(visit: Visit, in_stage_s: float) -> Visit:
    if in_stage_s < VISIT.settle_s or visit.ran:
        return visit
    why = _no_more_cranks(visit)
    if why and (visit.attended or not visit.bursts[-1].feed_held):
        return _go(visit, Stage.OVER, why)
    if len(visit.bursts_now) >= len(BURSTS_S):
        return _go(visit, Stage.OVER, "three bursts without a start: find the cause, the fuel supply first")
    if visit.now_s < visit.rest_until_s:
        return visit
    return _go(visit, Stage.WAIT_LAMP if visit.wait_lamp else Stage.READY)


def _pressed(visit: Visit, letter: str) -> Visit:
    letter = letter.lower()
    if letter == "a":  # however often: only another key clears it
        noted = visit.noted if visit.fault == "runaway" else (*visit.noted, RAN_AWAY)
        return replace(visit, air=True, fault="runaway", fault_s=visit.now_s, ending="", noted=noted)
    if letter == "q":
        return _asked_to_end(visit, "ended at the keyboard")
    if visit.fault:
        return _stands_still(visit) if visit.air and letter == "k" else visit
    if visit.ending:
        return _asked_to_end(visit, visit.ending) if letter == "s" else visit
    if visit.stage is Stage.WAIT_LAMP and no_crank_reason(visit):
        return visit
    if visit.stage is Stage.WAIT_LAMP and letter in (" ", "\r", "\n"):
        return _go(replace(visit, answered=(*visit.answered, "WAIT lamp lit and went out")), Stage.READY)
    if visit.stage is Stage.WAIT_LAMP and letter == "n":
        noted = (*visit.noted, "no WAIT lamp seen: bulb, wire or a warm engine")
        return _go(replace(visit, noted=noted, wait_lamp=False), Stage.READY)
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
        return _soak(visit)
    return _asked_to_end(visit, "the last step was skipped")
