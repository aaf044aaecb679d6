"""A first answer on the key feed for the LED. A PASS only where all that the board can see supports one; the host judges again."""

from .feed_watch import FeedWatch
from .lamp import FAIL, NO_VERDICT, PASS
from .start_tracker import AFTER, CRANK, LIVE_BEFORE_US, ON, RUN, StartTracker

if 0:  # for mypy alone: compiled to nothing
    from board_types import Table

TURN_US = 300000  # the phase before START
RELEASE_US = 300000  # and behind LET GO
TRAVEL_US = 150000  # a bounce of the key's travel lies this close before START or behind LET GO
VAGUE_US = 300000  # and up to this it may be one
LATE_US = 20000  # a starter relay lets go so late
EARLY_US = 5000  # the travel ends so long behind START at the latest
NO_LEAD_US = 60000  # without a starter lead START lies up to this before the sag
BOUNDS_BINS = 2  # edges of a crank and of a loss are each known to one
DROP_BINS = 3  # of a phase, and more, show its drop
NEARLY = 95  # percent of the bounce allowed: from there on it is undecided
TOP_CODE = 4086  # the top of the range begins here
NO_BOUNCE, VAGUE, BOUNCE = 0, 1, 2
BLINKED = "the feed blinked as the key turned: fetch the trace"
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
        if start.state == ON:
            self.feed.bounced = (
                words[key + 2] * 16 > self._table["live16"]
            )  # came on late in this bin, and may have bounced there
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
            total_us += length_us
            count += 1
            if length_us < table["dropout_min_us"] or self._bounce(begin_us, length_us)[0]:
                continue
            if lowest_code <= table["minimum_fail_code"]:
                where = PHASE_TEXT[self._phase(begin_us + length_us // 2)]
                return FAIL, "the feed was lost for %d ms %s" % (max(length_us // 1000, 1), where)
        if count > 1 and total_us > table["dropout_total_us"]:
            return NO_VERDICT, "%d short losses of the feed: fetch the trace" % count
        return None

    def _of_drop(self) -> "tuple[str, str] | None":
        for state, (total16, bins) in self.feed.drops.items():
            if bins > DROP_BINS and total16 // bins > self._table["drop_fail16"]:
                return FAIL, "the feed drops too much %s" % PHASE_TEXT[state]
        return None

    def _of_doubts(self) -> "tuple[str, str]":
        table, start, feed = self._table, self.start, self.feed
        long_enough = start.longest_us() >= table["crank_ms"] * 1000
        if not long_enough and not (start.charged and start.longest_us() >= table["crank_running_ms"] * 1000):
            return NO_VERDICT, "the crank was too short"
        if feed.too_many:
            return NO_VERDICT, "too many losses of the feed to follow: fetch the trace"
        turns = [self._bounce(d[0], d[1]) for d in feed.dropouts if d[1] >= table["dropout_min_us"]]
        if any(not kind for kind, _ in turns):
            return NO_VERDICT, "the feed came too close to the module's minimum to tell"
        if feed.vague or any(kind == VAGUE for kind, _ in turns) or len(set(turns)) < len(turns):
            return NO_VERDICT, BLINKED
        if self._ground_rose:
            return NO_VERDICT, "the module's ground rose: fetch the trace"
        if feed.grazed:
            return NO_VERDICT, "the feed came too close to the module's minimum to tell"
        for state, (total16, bins) in feed.drops.items():
            if bins > DROP_BINS and total16 // bins > table["drop_pass16"]:
                return NO_VERDICT, "the drop is too close to its limit to tell %s" % PHASE_TEXT[state]
        return PASS, "the feed held"

    def _bounce(self, begin_us: int, length_us: int) -> "tuple[int, int]":
        """Whether a loss is the bounce of a turn of the key, and of which turn. Losses and cranks are each known to a bin only."""
        table = self._table
        if length_us >= table["bounce_us"]:
            return NO_BOUNCE, 0
        sure = BOUNCE if 100 * length_us < NEARLY * table["bounce_us"] else VAGUE
        slack_us, closed_us = BOUNDS_BINS * table["bin_us"], begin_us + length_us
        lead = table["coil_live16"]
        kind, turn = NO_BOUNCE, 0
        for n, (start_us, let_go_us) in enumerate(self.start.cranks):
            early_us = start_us - slack_us - (0 if lead else NO_LEAD_US)
            late_us = start_us + slack_us
            if begin_us >= late_us - TRAVEL_US and closed_us <= early_us:
                return sure, 2 * n
            if begin_us >= early_us - VAGUE_US and closed_us <= late_us + EARLY_US:
                kind, turn = VAGUE, 2 * n
            early_us = let_go_us - (slack_us if lead else VAGUE_US)
            late_us = let_go_us + slack_us
            if begin_us >= late_us and closed_us <= early_us + TRAVEL_US:
                return sure, 2 * n + 1
            if begin_us >= early_us - LATE_US and closed_us <= late_us + VAGUE_US:
                kind, turn = VAGUE, 2 * n + 1
        return kind, turn

    def _phase(self, at_us: int) -> str:
        for begin_us, end_us in self.start.cranks:
            if at_us < begin_us - TURN_US:
                return RUN
            if at_us < begin_us:
                return TURN
            if at_us < end_us:
                return CRANK
            if at_us < end_us + RELEASE_US:
                return RELEASE
        return AFTER
