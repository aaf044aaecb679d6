"""Where a start is, from coarse bins, for a board that works alone. Whole numbers and codes only; times in microseconds.

The host's limits come as a `table` of codes (docs/wire_format.md, ARM). Means are in 1/16 code as in bins: names end in 16.
"""

OFF, ON, RUN, CRANK, AFTER, DONE = "key off?", "key on?", "run", "crank", "after", "done"
OFF_SEEN_US = 400000
LIVE_BEFORE_US = 200000  # the feed must have been up for so long before the crank
AGAIN_US = 1000000  # off for so long without a crank: the key was turned back, a new start begins
CRANK_SEEN_US = 120000
RELEASE_SEEN_US = 250000
INRUSH_US = 150000
LEVEL_US = 300000
EXTRA_US = 300000
LEAST_SWINGS = 6


class StartWatch:
    """Call `bin` for every bin in order; `state` says where the start is. Lasting facts are plain attributes."""

    def __init__(self, table):
        self.table = table
        self.state = OFF
        self.now_us = 0
        self.rest16 = 0
        self._level16 = 0
        self._held_us = 0
        self._turning_us = 0
        self._live_us = 0
        self._new_start()

    def _new_start(self):
        self.key_on_us = None
        self.cranks = []  # (begin, end)
        self.live_before_us = 0
        self.live_outside = False
        self.live_in_crank_us = self.in_crank_us = 0
        self.charged = False
        self.turned = False  # the battery showed that the starter turned the engine
        self._dead_us = 0

    def bin(self, battery16, key16, coil16, span_us):
        """Follows one bin. Returns True where a new start has just begun, so that what was gathered is forgotten."""
        if not self._level16:
            self._level16 = battery16
        live = key16 > self.table["live16"]
        self._live_us = self._live_us + span_us if live else 0
        fresh = False
        if self.state == CRANK:
            self._cranking(battery16, live, coil16, span_us)
        elif self.state == AFTER:
            self._after(battery16, live, coil16, span_us)
        elif self.state != DONE:
            fresh = self._before(battery16, key16, live, span_us)
            self._watch_for_crank(battery16, coil16, span_us)
        self.now_us += span_us
        return fresh

    def _before(self, battery16, key16, live, span_us):
        if self.state == OFF:
            self.rest16 = battery16
            if self._held(key16 < self.table["off16"], span_us) > OFF_SEEN_US:
                self._go(ON)
        elif self.state == ON:
            if not self._live_us:
                self.rest16 = battery16
            if live:
                self.key_on_us = self.now_us
                self._go(RUN)
        else:
            self._dead_us = self._dead_us + span_us if key16 < self.table["off16"] else 0
            if self._dead_us > AGAIN_US and not self._turning_us:
                self._new_start()
                self._go(ON)
                return True
        return False

    def _watch_for_crank(self, battery16, coil16, span_us):
        table = self.table
        turning = coil16 > table["coil_live16"] if table["coil_live16"] else battery16 < self._level16 - table["sag16"]
        if not turning:
            self._turning_us = 0
            self._level16 += (battery16 - self._level16) * min(span_us, LEVEL_US) // LEVEL_US
            return
        self._turning_us += span_us
        if self._turning_us <= CRANK_SEEN_US:
            return
        begin_us = self.now_us + span_us - self._turning_us
        if not self.cranks:
            self.live_before_us = begin_us - self.key_on_us if self.key_on_us is not None else 0
            self.live_outside = self._live_us > self._turning_us + LIVE_BEFORE_US + 400000
        self._begin_us = begin_us
        self._turning_us = 0
        self._turns = self._rising = 0
        self._extreme16 = self._lowest16 = battery16
        self._go(CRANK)

    def _cranking(self, battery16, live, coil16, span_us):
        table = self.table
        self.in_crank_us += span_us
        if live:
            self.live_in_crank_us += span_us
        if self.now_us - self._begin_us > INRUSH_US:
            self._count_turn(battery16)
            self._lowest16 = min(self._lowest16, battery16)
        by_coil = table["coil_live16"]
        over = coil16 <= by_coil if by_coil else battery16 > self._level16 - table["recover16"]
        if self._held(over, span_us) <= RELEASE_SEEN_US:
            return
        if not by_coil and self._turns < LEAST_SWINGS:
            self._level16 = battery16
            self.in_crank_us = self.live_in_crank_us = 0
            self._go(self._was)  # an intake heater's sag: the crank is still to come
            return
        self.cranks.append((self._begin_us, self.now_us + span_us - self._held_us))
        sagged = by_coil and self._lowest16 < self._level16 - table["turn_sag16"]
        self.turned = self.turned or sagged or self._turns >= LEAST_SWINGS
        self._dead_us = 0
        self._go(AFTER)

    def _count_turn(self, battery16):
        """Turns of the battery's curve by at least ripple16: compressions make them, a heater does not."""
        step16 = battery16 - self._extreme16
        if step16 and (step16 > 0) == (self._rising > 0):
            self._extreme16 = battery16
        elif abs(step16) >= self.table["ripple16"]:
            self._rising = 1 if step16 > 0 else -1
            self._extreme16 = battery16
            self._turns += 1

    def _after(self, battery16, live, coil16, span_us):
        table = self.table
        since_us = self.now_us - self.cranks[-1][1]
        if live and since_us > RELEASE_SEEN_US:
            self.live_outside = True
        if battery16 > table["charged16"]:
            self.charged = True
        self._watch_for_crank(battery16, coil16, span_us)
        if self.state == AFTER:
            short = self.longest_us() < table["crank_ms"] * 1000
            need_ms = table["run_on_ms"] if short and self.charged else table["after_ms"]
            self._dead_us = 0 if live else self._dead_us + span_us
            if since_us > need_ms * 1000 + EXTRA_US or self._dead_us > AGAIN_US:
                self._go(DONE)

    def longest_us(self):
        """Length of the longest crank so far."""
        return max([end - begin for begin, end in self.cranks])

    def _held(self, wanted, span_us):
        self._held_us = self._held_us + span_us if wanted else 0
        return self._held_us

    def _go(self, state):
        self._was = self.state
        self.state = state
        self._held_us = 0
