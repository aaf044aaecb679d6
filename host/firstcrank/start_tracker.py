"""Where a start is while it goes on: key off, key on, crank, after it, done. One state machine for live screen and board.

Runs on CPython and MicroPython; the install command copies this very file to the board. Whole numbers only: times in microseconds,
levels in any unit of the caller's, the same for all of them. The board's are means in 1/16 code, so names end in 16, and its
`table` comes from the host (docs/wire_format.md, ARM); the live screen's are microvolts (analysis/live.py).
"""

OFF, ON, RUN, CRANK, AFTER, DONE = "key off?", "key on?", "run", "crank", "after", "done"
OFF_SEEN_US = 400000  # dead for so long: the key was seen off
LIVE_BEFORE_US = 200000  # the feed must have been up for so long before the crank
AGAIN_US = 1000000  # off for so long without a crank: the key was turned back, a new start begins
CRANK_SEEN_US = 120000  # the starter works, or the battery sags, for so long: a crank
RELEASE_SEEN_US = 250000  # over for so long: the crank has ended
INRUSH_US = 150000  # left out of what is counted in a crank
LEVEL_US = 300000  # the battery's level before the crank is its average over about this
EXTRA_US = 300000  # watched a little longer than the judge needs
LIVE_MARGIN_US = 400000
LEAST_SWINGS = 6  # turns of the battery's curve that make a crank where there is no starter lead


class StartTracker:
    """Call `bin` for every bin in order; `state` is where the start is. What lasts is in plain attributes.

    table: live16, off16 (key feed), coil_live16 (0: no starter lead), sag16, recover16, turn_sag16, ripple16, charged16,
    crank_ms, run_on_ms, after_ms, and, where they differ from none, on_seen_us (live for so long: key on) and creep_us (the level
    follows a sag that lasts, such as an intake heater's, with this time constant).
    """

    def __init__(self, table: dict[str, int]) -> None:
        self.table = table
        self._on_seen_us = table.get("on_seen_us", 0)
        self._creep_us = table.get("creep_us", 0)
        self.state = OFF
        self.now_us = 0
        self.rest16 = 0
        self._level16 = 0
        self._held_us = 0
        self._turning_us = 0
        self._live_us = 0
        self._was = OFF
        self._begin_us = self._turns = self._rising = 0
        self._extreme16 = self._lowest16 = 0
        self._new_start()

    def _new_start(self) -> None:
        self.key_on_us: "int | None" = None
        self.cranks: "list[tuple[int, int]]" = []  # (begin, end)
        self.live_before_us = 0
        self.live_outside = False
        self.live_in_crank_us = self.in_crank_us = 0
        self.charged = False
        self.turned = False  # the battery showed that the starter turned the engine
        self._dead_us = 0

    def bin(self, battery16: int, key16: int, coil16: int, span_us: int) -> bool:
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

    def _before(self, battery16: int, key16: int, live: bool, span_us: int) -> bool:
        if self.state == OFF:
            self.rest16 = battery16
            if self._held(key16 < self.table["off16"], span_us) > OFF_SEEN_US:
                self._go(ON)
        elif self.state == ON:
            if not self._live_us:
                self.rest16 = battery16
            if self._live_us > self._on_seen_us:
                self.key_on_us = self.now_us
                self._go(RUN)
        else:
            self._dead_us = self._dead_us + span_us if key16 < self.table["off16"] else 0
            if self._dead_us > AGAIN_US and not self._turning_us:
                self._new_start()
                self._go(ON)
                return True
        return False

    def _watch_for_crank(self, battery16: int, coil16: int, span_us: int) -> None:
        table = self.table
        has_lead = table["coil_live16"]
        turning = self.coil_live(battery16, coil16) if has_lead else battery16 < self._level16 - table["sag16"]
        if not turning:
            self._turning_us = 0
            self._level16 += (battery16 - self._level16) * min(span_us, LEVEL_US) // LEVEL_US
            return
        if self._creep_us and not has_lead:
            self._level16 += (battery16 - self._level16) * min(span_us, self._creep_us) // self._creep_us
        self._turning_us += span_us
        if self._turning_us <= CRANK_SEEN_US:
            return
        begin_us = self.now_us + span_us - self._turning_us
        if not self.cranks:
            self.live_before_us = begin_us - self.key_on_us if self.key_on_us is not None else 0
            self.live_outside = self._live_us > self._turning_us + LIVE_BEFORE_US + LIVE_MARGIN_US
        self._begin_us = begin_us
        self._turning_us = 0
        self._turns = self._rising = 0
        self._extreme16 = self._lowest16 = battery16
        self._go(CRANK)

    def _cranking(self, battery16: int, live: bool, coil16: int, span_us: int) -> None:
        table = self.table
        self.in_crank_us += span_us
        if live:
            self.live_in_crank_us += span_us
        if self.now_us - self._begin_us > INRUSH_US:
            self._count_turn(battery16)
            self._lowest16 = min(self._lowest16, battery16)
        by_coil = table["coil_live16"]
        over = not self.coil_live(battery16, coil16) if by_coil else battery16 > self._level16 - table["recover16"]
        if self._held(over, span_us) <= RELEASE_SEEN_US:
            return
        if not by_coil and not self.had_compressions(span_us):
            self._level16 = battery16
            self.in_crank_us = self.live_in_crank_us = 0
            self._go(self._was)  # an intake heater's sag: the crank is still to come
            return
        self.cranks.append((self._begin_us, self.now_us + span_us - self._held_us))
        sagged = by_coil > 0 and self._lowest16 < self._level16 - table["turn_sag16"]
        self.turned = self.turned or sagged or self._turns >= LEAST_SWINGS
        self._dead_us = 0
        self._go(AFTER)

    def _count_turn(self, battery16: int) -> None:
        """Turns of the battery's curve by at least ripple16: compressions make them, a heater does not."""
        step16 = battery16 - self._extreme16
        if step16 and (step16 > 0) == (self._rising > 0):
            self._extreme16 = battery16
        elif abs(step16) >= self.table["ripple16"]:
            self._rising = 1 if step16 > 0 else -1
            self._extreme16 = battery16
            self._turns += 1

    def _after(self, battery16: int, live: bool, coil16: int, span_us: int) -> None:
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

    def coil_live(self, battery16: int, coil16: int) -> bool:
        """Whether the starter lead shows that the starter is switched on."""
        return coil16 > self.table["coil_live16"]

    def had_compressions(self, span_us: int) -> bool:
        """Without a starter lead, as the sag ends: whether the engine turned, or a heater drew the current."""
        return self._turns >= LEAST_SWINGS

    @property
    def crank_begin_us(self) -> int:
        """When the crank that is going on began."""
        return self._begin_us

    def longest_us(self) -> int:
        """Length of the longest crank so far."""
        return max([end - begin for begin, end in self.cranks])

    def _held(self, wanted: bool, span_us: int) -> int:
        self._held_us = self._held_us + span_us if wanted else 0
        return self._held_us

    def _go(self, state: str) -> None:
        self._was = self.state
        self.state = state
        self._held_us = 0
