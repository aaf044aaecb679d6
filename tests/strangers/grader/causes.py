"""Which causes are true of a start, by the names in the printed list. More than one where nobody could tell them apart."""

from __future__ import annotations

from tests.strangers.grader.feed import Feed
from tests.strangers.grader.levels import Labels

NAMES = {
    "feed_from_start_terminal": {"feed_from_start_terminal"},
    "feed_relay": {"feed_relay"},
    "feed_ballast": {"feed_ballast"},
    "battery_weak": {"battery_weak"},
    "inrush": {"battery_weak"},
    "battery_cable": {"battery_cable"},
    "module_supply_drop": {"module_supply_drop"},
    "ground_path": {"ground_path"},
    "heater_reversed": {"heater_reversed"},
    "heater_feed_low": {"heater_feed_low"},
    "starter_control_drop": {"starter_control_drop"},
    "no_charge": {"no_charge"},
    "backfeed_after_off": {"backfeed_after_off"},
}


def true_causes(f: Feed, labels: Labels) -> set[str]:
    """The names that are right; empty where the start has no fault of its own."""
    p = f.s.plan
    out: set[str] = set()
    for word in p.culprits:
        out |= NAMES.get(word, set())
    missed = {m.obligation for m in labels.margins if m.by_u > 0}
    kind = p.family
    if kind == "dead_in_start":
        out.add("feed_dead_in_start")
        if p.labels["kind"] in ("part", "late"):
            out |= {"feed_loose", "feed_lost_at_turn"}
    elif kind == "lost_at_turn" or p.culprits & {"feed_lost_at_turn"}:
        out.add("feed_lost_at_turn")
    elif "feed_loose" in p.culprits:
        out |= _loose(f)
    elif "feed_resistance" in p.culprits:
        out |= _resistance(f)
    if kind == "ballast" and not p.labels.get("by_passed"):
        out.add("feed_resistance")
    if "feed_resistance" in p.culprits and "feed_loose" in p.culprits:
        out |= {"feed_resistance", "feed_loose"}
    if "P1" in missed and p.feed.source == "post":
        out.add("battery_weak")  # whatever else a family did, its battery goes below the minimum
    if not missed:
        return set()
    return out


def _loose(f: Feed) -> set[str]:
    """Losses that come and go; one that covers a turn alone is lost at the turn; one over all of START is dead in START."""
    p = f.s.plan
    out = {"feed_loose"}
    for cut in p.feed.cuts:
        for c in p.cranks:
            held = c.key_end_s - c.key_start_s
            if cut.begin_s <= c.key_start_s + 0.2 * held and cut.end_s >= c.key_end_s - 0.2 * held:
                out.add("feed_dead_in_start")
            for turn in (c.key_start_s, c.key_end_s):
                if cut.begin_s - 0.15 < turn < cut.end_s + 0.15 and cut.end_s - cut.begin_s < 0.5:
                    out.add("feed_lost_at_turn")
    if f.times.never_back:
        out.add("fuse_or_link")
    for d in p.feed.drops:
        if d.end_s - d.begin_s < 0.1:
            out |= {"feed_resistance"}
            for c in p.cranks:
                if any(d.begin_s - 0.15 < turn < d.end_s + 0.15 for turn in (c.key_start_s, c.key_end_s)):
                    out.add("feed_lost_at_turn")
    return out


def _resistance(f: Feed) -> set[str]:
    """A steady drop. In ON alone it is what a by-passed ballast does; in START alone the feed is starved there."""
    p = f.s.plan
    out = {"feed_resistance"}
    for d in p.feed.drops:
        length = d.end_s - d.begin_s
        if length < 0.6:
            out.add("feed_loose")
        for c in p.cranks:
            held = c.key_end_s - c.key_start_s
            if d.begin_s >= c.key_start_s - 0.1 and d.end_s <= c.key_end_s + 0.1 and length > 0.6 * held:
                out.add("feed_dead_in_start")
            if d.begin_s <= c.key_start_s + 0.4 * held and d.end_s >= c.key_end_s - 0.05:
                out.add("feed_dead_in_start")  # starved for most of START, whatever comes after
            if d.begin_s >= c.key_start_s and d.end_s <= c.key_end_s + 0.1 and length > 0.3 * held:
                out.add("feed_dead_in_start")
        if p.labels.get("where") == "on":
            out.add("feed_ballast")
    if p.family == "sinking":
        out |= {"feed_loose", "fuse_or_link"}
    return out
