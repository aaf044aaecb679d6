"""The battery: at rest before the key comes on, lowest, and while cranking.

Only a battery that takes a good feed below the module's minimum fails. The 9.6 V rule of load testers warns: published
manuals for diesels call 8 to 10 V typical while cranking at 10 to 27 degC.
"""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.checks.key_feed_dropout import follows_source
from firstcrank.analysis.decision import decide, result_of
from firstcrank.analysis.findings import Finding, Result
from firstcrank.analysis.view import View
from firstcrank.units import text_s, text_v

REST, MINIMUM, CRANK = "battery_rest", "battery_minimum", "battery_crank"


def check_rest(view: View) -> list[Finding]:
    """Mean before key on; warns below the rest limit and above what a resting battery can have."""
    if view.key_on_s is None:
        return [Finding(REST, "not measured", "battery at rest: the key was not seen off", blocks=False)]
    chosen = view.within(float(view.trace.start_s[0]), view.key_on_s - 0.01)
    if not chosen.any():
        return [Finding(REST, "not measured", "battery at rest: too little time before the key came on", blocks=False)]
    rest_v, u = view.mean("battery", chosen)
    low_v, charger_v = view.limits["battery_rest_warn_v"], view.limits["battery_rest_charger_v"]
    low = decide(rest_v, u, low_v, "above")
    result: Result
    if rest_v > charger_v:
        result, said, limit_v = "warn", "a charger or jump pack seems to be connected", charger_v
    elif low.outcome == "missed":
        result, said, limit_v = "warn", "charge the battery first", low_v
    elif low.outcome == "undecided":
        result, said, limit_v = "no verdict", f"too close to {text_v(low_v)} to tell", low_v
    else:
        result, said, limit_v = "pass", "", low_v
    text = f"battery at rest {text_v(rest_v)}" + (f": {said}" if said else "")
    return [Finding(REST, result, text, rest_v, low.expanded, limit_v, "V", 0.0, "key off", low.conformance, blocks=False)]


def check_minimum(view: View) -> list[Finding]:
    """Lowest supply voltage; FAIL only where it takes the feed below the module's minimum for long enough to count."""
    role = view.feed.source_role
    chosen = view.in_phase("key on", "key turn", "crank", "release", "after")
    if not chosen.any():
        return []
    channel = view.trace.channels[role]
    at = int(np.flatnonzero(chosen)[np.argmin(channel.lowest_v[chosen])])
    lowest_v = float(channel.lowest_v[at])
    u = uncertainty.of_voltage(lowest_v, channel.uncertainty)
    minimum_v, dip_v = view.limits["module_minimum_v"], view.limits["battery_dip_warn_v"]
    decision = decide(lowest_v, u, minimum_v, "above")
    taken = [d for d in view.dropouts if follows_source(view, d)]
    counting = [d for d in taken if d.duration_low_s > view.limits["dropout_min_s"]]
    result: Result = "pass"
    blocks = False
    text = f"lowest battery voltage {text_v(lowest_v)}"
    if counting:
        total_s = sum(d.duration_s for d in counting)
        deep_v = min(d.lowest_v for d in counting)
        u_feed = uncertainty.of_voltage(deep_v, view.trace.channels["key_switch"].uncertainty)
        blocks = True
        result = "fail" if decide(deep_v, u_feed, minimum_v, "above").outcome == "missed" else "no verdict"
        text += (
            f": it takes the key feed below the module's minimum of {text_v(minimum_v)} for {text_s(total_s)}. The feed "
            "follows the battery, so the supply is at fault and not the feed"
        )
    elif taken or lowest_v < dip_v:
        result, text = "warn", text + ", briefly"
    return [
        Finding(
            MINIMUM,
            result,
            text,
            lowest_v,
            decision.expanded,
            minimum_v,
            "V",
            float(view.trace.start_s[at]),
            "crank",
            decision.conformance,
            blocks=blocks,
        )
    ]


def check_crank(view: View) -> list[Finding]:
    """Mean battery voltage while cranking, the first 0.2 s (the inrush) left out."""
    if not view.cranks:
        return []
    chosen = np.zeros(len(view.trace), dtype=bool)
    for crank in view.cranks:
        chosen |= view.within(crank.start_s + 0.2, crank.end_s - 0.05)
    if not chosen.any():
        return []
    mean_v, u = view.mean("battery", chosen)
    limit_v = view.limits["battery_crank_warn_v"]
    decision = decide(mean_v, u, limit_v, "above")
    result = result_of(decision, missed="warn")
    text = f"battery while cranking {text_v(mean_v)}"
    if result == "warn":
        text += f", below {text_v(limit_v)}: a cold diesel may do that; charge and test the battery if it cranks slowly"
    at_s = view.cranks[0].start_s
    return [Finding(CRANK, result, text, mean_v, decision.expanded, limit_v, "V", at_s, "crank", decision.conformance, False)]
