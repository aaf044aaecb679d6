"""Whether the readings of a logger can be what the leads carried: only for traces of one reading a row.

A board of ours tells what it lost; a CSV cannot. What a real converter on a real vehicle never does is looked for: a ceiling
that cuts the ripple, a value written many times over, a lead that stands still while its source moves, no noise at all, two
leads that are one, time stamps made up or bunched, steps too coarse. Each rule says what honest readings look like beside it.
Pure functions. Not seen: a fault that was edited with care, anything in leads that are quiet throughout.
"""

from firstcrank.analysis.plausibility.copies import copied, noise_free, on_the_post
from firstcrank.analysis.plausibility.examined import Examined, Implausible, Rule
from firstcrank.analysis.plausibility.rows import coarse, held, time
from firstcrank.analysis.plausibility.standing import frozen, still_alone, still_in_noise, straight
from firstcrank.analysis.plausibility.top import clipped
from firstcrank.thresholds.plausible import PLAUSIBLE
from firstcrank.trace import Trace

__all__ = ["RULES", "Implausible", "find_implausible"]

RULES: tuple[Rule, ...] = (
    time,
    coarse,
    held,
    frozen,
    clipped,
    still_in_noise,
    straight,
    still_alone,
    noise_free,
    copied,
    on_the_post,
)


def find_implausible(trace: Trace) -> tuple[Implausible, ...]:
    """All that cannot be what the leads carried, by time. Empty for bins of several readings and for a handful of rows."""
    if len(trace) < PLAUSIBLE.least_rows or int(trace.conversions.max()) > 1 or not trace.has("battery", "key_switch"):
        return ()
    examined = Examined(trace)
    return tuple(sorted((found for rule in RULES for found in rule(examined)), key=lambda found: found.start_s))
