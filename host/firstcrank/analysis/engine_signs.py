"""Signs of the engine while a start goes on, for prompts only: does it run by itself, is it turned with the starter lead dead.

A screen that judges by the battery's voltage is late by up to a second; the verdict looks at the whole recording afterwards.
"""

from __future__ import annotations

from firstcrank.thresholds.signs import SIGNS


class EngineSigns:
    """Follows bin by bin. `scale` is 1 for 12 V, 2 for 24 V."""

    def __init__(self, scale: float) -> None:
        self._scale = scale
        self.runs_by_itself = False
        self.bridged = False
        self.low_s = 0.0  # how long the feed was below the module's minimum in the crank at hand
        self._level_v = self._highest_v = 0.0
        self._lowest_v: float | None = None
        self._recovered_s = self._sagged_s = 0.0

    def before_crank(self, span_s: float, battery_v: float, lead_is_on: bool) -> None:
        """One bin before a crank; `lead_is_on`: there is a starter lead, so a sag without it is somebody else's start."""
        self._highest_v = max(self._highest_v, battery_v)
        if battery_v > self._highest_v - SIGNS.level_v * self._scale:
            self._level_v = battery_v
        low_v, high_v = SIGNS.no_battery_v * self._scale, self._highest_v - SIGNS.bridged_sag_v * self._scale
        sagging = lead_is_on and low_v < battery_v < high_v
        self._sagged_s = self._sagged_s + span_s if sagging else 0.0
        self.bridged = self.bridged or self._sagged_s > SIGNS.bridged_s

    def begin_crank(self) -> None:
        """A crank begins."""
        self.runs_by_itself = False
        self.low_s = self._recovered_s = self._sagged_s = 0.0
        self._lowest_v = None

    def in_crank(self, span_s: float, battery_v: float, feed_is_low: bool) -> None:
        """One bin of a crank: an engine that runs turns the starter, so most of the sag is gone for a while."""
        self.low_s += span_s if feed_is_low else 0.0
        self._lowest_v = battery_v if self._lowest_v is None else min(self._lowest_v, battery_v)
        recovered = self._level_v - battery_v < SIGNS.recovered_share * (self._level_v - self._lowest_v)
        self._held(span_s, recovered)

    def after_crank(self, span_s: float, battery_v: float) -> None:
        """One bin after a crank: an engine that charges."""
        self._held(span_s, battery_v > self._level_v + SIGNS.charges_v * self._scale)

    def _held(self, span_s: float, wanted: bool) -> None:
        self._recovered_s = self._recovered_s + span_s if wanted else 0.0
        self.runs_by_itself = self.runs_by_itself or self._recovered_s > SIGNS.recovered_s
