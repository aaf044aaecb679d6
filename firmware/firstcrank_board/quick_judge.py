"""A first answer on the key feed for the LED. A PASS only where all that the board can see supports one; the host judges again."""

from .feed_watch import FeedWatch
from .lamp import FAIL, NO_VERDICT, PASS
from .start_tracker import AFTER, CRANK, LIVE_BEFORE_US, RUN, StartTracker

if 0:  # for mypy alone: compiled to nothing
    from board_types import Dropout, Table

TURN_US = 300000  # the key travels to START for at most this long before the starter works
RELEASE_BEFORE_US = 30000
RELEASE_US = 500000
TOP_CODE = 4090
TURN, RELEASE = "turn", "release"
PHASE_TEXT = {
    RUN: "with KEY ON, before the crank",
    TURN: "while the key turned to START",
    CRANK: "in START, while cranking",
    RELEASE: "while the key went back to RUN",
    AFTER: "with KEY ON, after the crank",
}


class QuickJudge:
    """`bin` for every bin; when `start.state` is "done" `outcome()` tells. `table` is what ARM carried."""

    def __init__(self, table: "Table") -> None:
        self._table = table
        roles = [channel["role"] for channel in table["channels"]]
        self._battery, self._key = roles.index("battery") * 3, roles.index("key_switch") * 3
        self._source = roles.index("feed_source") * 3 if "feed_source" in roles else self._battery
        self._coil = roles.index("starter_coil") * 3 if "starter_coil" in roles else -1
        self._ground = roles.index("module_ground") * 3 if "module_ground" in roles else -1
        self._runs = len(roles) * 3
        self.start = StartTracker(table)
        self.feed = FeedWatch(table)
        self._invalid_because: "str | None" = None
        self._ground_rose = False

    def bin(self, words: "list[int]", at: int, span_us: int, conversions: int) -> None:
        """16-bit `words` of a bin from index `at`, in wire.py's order."""
        battery, key = at + self._battery, at + self._key
        battery16, key16 = words[battery], words[key]
        coil16 = words[at + self._coil] if self._coil >= 0 else 0
        start = self.start
        now_us = start.now_us
        if start.bin(battery16, key16, coil16, span_us):
            self.feed = FeedWatch(self._table)
            self._invalid_because = None
            self._ground_rose = False
        if words[battery + 2] >= TOP_CODE or words[key + 2] >= TOP_CODE:
            self._invalid_because = "a reading was above what the input can measure"
        if battery16 < self._table["battery_gone16"]:
            self._invalid_because = "the battery reading vanished: a clip came off"
        if self._ground >= 0 and words[at + self._ground + 2] > self._table["ground_rise_code"]:
            self._ground_rose = True
        if start.state in (RUN, CRANK, AFTER):
            runs = at + self._runs
            since_us = now_us - start.key_on_us if start.key_on_us is not None else now_us
            self.feed.bin(
                start.state,
                now_us,
                since_us,
                words[at + self._source],
                key16,
                words[key + 1],
                (words[runs], words[runs + 1], words[runs + 2]),
                span_us,
                conversions,
            )

    def invalidate(self, why: str) -> None:
        """Something that makes the trace useless: conversions lost."""
        self._invalid_because = why

    def outcome(self) -> "tuple[str, str]":
        """(PASS, FAIL or NO VERDICT, why in one line)."""
        missing = self._invalid_because or self._missing()
        if missing:
            return NO_VERDICT, missing
        start = self.start
        if not start.live_outside and 2 * start.live_in_crank_us > start.in_crank_us:
            return FAIL, "the feed is live only while cranking"
        if start.key_on_us is None or start.live_before_us < LIVE_BEFORE_US:
            return NO_VERDICT, "the feed was not seen off and then up before the crank"
        if self.feed.open_us:
            return NO_VERDICT, "the feed went dead and did not come back"
        return self._of_dropouts() or self._of_drop() or self._of_doubts()

    def _missing(self) -> "str | None":
        start, table = self.start, self._table
        if not table["rest_low16"] <= start.rest16 <= table["rest_high16"]:
            return "the battery's voltage at rest does not fit the limits"
        if not start.cranks:
            return "no crank was seen"
        if not start.turned:
            return "the battery did not show that the engine turned"
        if start.longest_us() < 1000 * table["crank_running_ms"]:
            return "the crank was too short"
        return None

    def _of_dropouts(self) -> "tuple[str, str] | None":
        table = self._table
        total_us, count = 0, 0
        for begin_us, length_us, lowest_code in self.feed.dropouts:
            phase = self._phase(begin_us)
            total_us += length_us
            count += 1
            if length_us < table["dropout_min_us"] or (phase in (TURN, RELEASE) and length_us < table["bounce_us"]):
                continue
            if lowest_code <= table["minimum_fail_code"]:
                where = PHASE_TEXT[self._phase(begin_us + length_us // 2)]
                return FAIL, "the feed was lost for %d ms %s" % (max(length_us // 1000, 1), where)
        if count > 1 and total_us > table["dropout_total_us"]:
            return NO_VERDICT, "%d short losses of the feed: fetch the trace" % count
        return None

    def _of_drop(self) -> "tuple[str, str] | None":
        for state, (total16, bins) in self.feed.drops.items():
            if bins > 3 and total16 // bins > self._table["drop_fail16"]:
                return FAIL, "the feed drops too much %s" % PHASE_TEXT[state]
        return None

    def _of_doubts(self) -> "tuple[str, str]":
        table, start, feed = self._table, self.start, self.feed
        long_enough = start.longest_us() >= table["crank_ms"] * 1000
        if not long_enough and not (start.charged and start.longest_us() >= table["crank_running_ms"] * 1000):
            return NO_VERDICT, "the crank was too short"
        if feed.too_many or any(d[1] >= table["dropout_min_us"] and not self._is_bounce(d) for d in feed.dropouts):
            return NO_VERDICT, "the feed came too close to the module's minimum to tell"
        if self._ground_rose:
            return NO_VERDICT, "the module's ground rose: fetch the trace"
        if feed.grazed:
            return NO_VERDICT, "the feed came too close to the module's minimum to tell"
        for state, (total16, bins) in feed.drops.items():
            if bins > 3 and total16 // bins > table["drop_pass16"]:
                return NO_VERDICT, "the drop is too close to its limit to tell %s" % PHASE_TEXT[state]
        return PASS, "the feed held"

    def _is_bounce(self, dropout: "Dropout") -> bool:
        return self._phase(dropout[0]) in (TURN, RELEASE) and dropout[1] < self._table["bounce_us"]

    def _phase(self, at_us: int) -> str:
        for begin_us, end_us in self.start.cranks:
            if at_us < begin_us - TURN_US:
                return RUN
            if at_us < begin_us:
                return TURN
            if at_us < end_us - RELEASE_BEFORE_US:
                return CRANK
            if at_us < end_us + RELEASE_US:
                return RELEASE
        return AFTER
