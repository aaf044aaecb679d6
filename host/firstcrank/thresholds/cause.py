"""What the causes ask of a FAIL's trace. How sure a cause is, which orders the list alone, stands in its rule."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class CauseThresholds:
    """What the causes ask of a FAIL's trace. How sure a cause is, which orders the list alone, stands in its rule."""

    least: float = number(0.2, "", "below this the evidence favours nothing")
    few_short: int = count(10, "losses too short to count that show something of a contact")
    crank_settle_s: float = number(0.02, "s", "of a crank's begin left out of its means")
    contact_s: float = number(0.01, "s", "an open contact has let the feed go dead by then")
    held_s: float = number(0.3, "s", "a feed that stands between dead and good for so long is no contact that opens")
    near_travel_s: float = number(0.06, "s", "the starter's relay follows the key so late")
    travel_before_s: float = number(0.3, "s", "the key travels so long before START")
    shallow_share: float = number(1.5, "", "times the usual drop: a loss no deeper is that drop, and the battery's dip")
    shallow_v: float = number(0.2, "V", "and so much more")
    at_once_share: float = number(0.6, "", "of a step that comes at once: something switched")
    step_share: float = number(0.1, "", "of the source: the feed steps by so much")
    stepped_share: float = number(0.88, "", "of the source: the feed stands below this after the step")
    stepped_s: float = number(0.1, "s", "for so long")
    nearly_all: float = number(0.7, "", "of START: the feed is lost as good as throughout")
    little: float = number(0.3, "", "of START: the feed is lost for little of it")
    chatter_share: float = number(0.25, "", "of START in which it is lost, and")
    chatter_count: int = count(8, "losses within START: it comes and goes")
    follows_current: float = number(0.6, "", "correlation of the drop with the battery's sag: the starter's current makes it")
    coil_share: float = number(0.7, "", "of the feed's loss that the starter's control loses too: it lies before the switch")
    more_in_start: float = number(2.0, "", "times the drop with KEY ON: that in START is another")
    more_in_start_share: float = number(0.2, "", "of the warning limit, and so much more")
    alike_v: float = number(0.1, "V", "drops that differ by this are alike", scales=False)
    relay_losses: int = count(6, "losses, and no more, of a relay that lets go")
    held_open_s: float = number(0.02, "s", "a loss this long is no bounce")
    relay_before_s: float = number(0.01, "s", "a relay lets go no earlier than this before the battery sags")
    relay_after_s: float = number(0.5, "s", "and no later after")
    relay_dip_v: float = number(0.8, "V", "by which the battery has dipped then")
    relay_back_share: float = number(0.9, "", "of the crank: back before it ends, it pulled in again")
    relay_dead_v: float = number(1.0, "V", "above the dead limit: the mean of a feed that a relay let go", scales=False)
    several: int = count(3, "dropouts that came back are several")
    end_s: float = number(0.01, "s", "a loss that ends this close to the recording's end did not come back")
    warming: float = number(0.06, "", "of its drop by which a ballast grows as it warms")
    warming_settle_s: float = number(0.02, "s", "from key on left out of it")
    warming_first_s: float = number(0.15, "s", "of its first drop")
    warming_last_s: float = number(0.3, "s", "of its last drop")
    least_v: float = number(0.1, "V", "a smaller drop is divided by nothing", scales=False)
    rises_with_key: float = number(
        0.6, "", "of the worst drop that is there with KEY ON too: no cable of the starter's current"
    )
    stepped_least: float = number(0.04, "", "of the system voltage: below it a stepped feed is dead")
    stepped_after: float = number(0.75, "", "of the watch after the release: a step later was the module's")
    step_before_s: float = number(0.06, "s", "a step is measured from this before it")
    step_clear_s: float = number(0.01, "s", "up to this before")
    step_from_s: float = number(0.02, "s", "and from this after it")
    step_to_s: float = number(0.07, "s", "up to this")
    least_bins: int = count(50, "of a crank that show what the drop follows")
    least_deviation_v: float = number(0.01, "V", "of drop and sag that show what the drop follows", scales=False)
    late_start_s: float = number(0.02, "s", "a loss of the key's travel begins this late behind START")
    around_s: float = number(0.5, "s", "on either side of a loss, the feed's usual drop there")
    warming_least_s: float = number(1.0, "s", "of KEY ON before the crank that show a ballast warm")


CAUSE = CauseThresholds()  # at 12 V
