"""Whether a loss of the feed can be a bounce of the key's travel: tied to the starter coil's edges and to the key coming on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.key import Key
from firstcrank.analysis.low_intervals import LowInterval
from firstcrank.thresholds import KeyThresholds
from firstcrank.thresholds.edges import EDGES

AS_IT_CAME_ON = "as the key came on"


class Lies(Enum):
    """Where a stretch lies against a window whose borders have widths."""

    INSIDE = "inside"
    VAGUE = "vague"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class TravelWindow:
    """Time in which the key travels: surely from `inner`, possibly from `outer`, seconds. `name` for the headline."""

    inner: tuple[float, float]
    outer: tuple[float, float]
    name: str

    def lies(self, start_s: float, end_s: float) -> Lies:
        """Where a stretch lies."""
        if self.inner[0] <= start_s and end_s <= self.inner[1]:
            return Lies.INSIDE
        if self.outer[0] <= start_s and end_s <= self.outer[1]:
            return Lies.VAGUE
        return Lies.OUTSIDE


def windows_of(cranks: tuple[CrankInterval, ...], key: Key, th: KeyThresholds) -> tuple[TravelWindow, ...]:
    """One window for each movement of the key that was seen."""
    found = [_on_window(border.early_s, border.late_s, th) for border in ([key.on] if key.on else [])]
    found += [_on_window(off.on.early_s, off.on.late_s, th) for off in key.between]
    for crank in cranks:
        early_s, late_s = crank.start.early_s, crank.start.late_s
        found.append(
            TravelWindow(
                (late_s - th.travel_s, early_s),
                (early_s - th.travel_vague_s, late_s + th.early_start_s),
                "as the key turned to START",
            )
        )
        early_s, late_s = crank.end.early_s, crank.end.late_s
        found.append(
            TravelWindow(
                (late_s, early_s + th.travel_s),
                (early_s - th.late_relay_s, late_s + th.travel_vague_s),
                "as the key came back from START",
            )
        )
    return tuple(found)


def _on_window(early_s: float, late_s: float, th: KeyThresholds) -> TravelWindow:
    return TravelWindow((early_s, early_s + th.rise_bounce_s), (early_s, late_s + th.rise_bounce_s), AS_IT_CAME_ON)


@dataclass(frozen=True, slots=True)
class Bounce:
    """Losses of one travel window taken together: first opening to last closing at least `least_s`, at most `most_s`."""

    window: TravelWindow
    members: tuple[LowInterval, ...]
    lies: Lies

    @property
    def start_s(self) -> float:
        """First opening."""
        return min(m.start_s for m in self.members)

    @property
    def end_s(self) -> float:
        """Last closing."""
        return max(m.end_s for m in self.members)

    @property
    def least_s(self) -> float:
        """Shortest that it may be."""
        return max(self.end_s - self.start_s - 2 * self._slack_s, 0.0)

    @property
    def most_s(self) -> float:
        """Longest that it may be."""
        return self.end_s - self.start_s + 2 * self._slack_s

    @property
    def _slack_s(self) -> float:
        return max(0.5 * max(m.high_s - m.low_s for m in self.members), 0.0)


def bounces_of(
    lows: tuple[LowInterval, ...], windows: tuple[TravelWindow, ...], shortest_s: float, allowed_s: float
) -> tuple[Bounce, ...]:
    """The losses that may belong to a travel of the key, by window; a loss belongs to the first window that it fits.

    A bounce is made of the losses that may count; those too short to count belong to it where they lie within its time, and are
    one of their own where nothing longer is there and all of them take no longer than a bounce may.
    """
    taken: set[int] = set()
    found = []
    for window in windows:
        mine = [i for i, low in enumerate(lows) if i not in taken and window.lies(low.start_s, low.end_s) is not Lies.OUTSIDE]
        long = [i for i in mine if lows[i].high_s >= shortest_s]
        if long and window.name != AS_IT_CAME_ON:  # there a crackle is made of short losses: all of them belong to it
            start_s, end_s = min(lows[i].start_s for i in long), max(lows[i].end_s for i in long)
            beside = [lows[i] for i in mine]
            mine = [i for i in mine if _fits(lows[i], start_s, end_s, allowed_s)]
        else:
            beside = []
        if mine:
            taken.update(mine)
            bounce = _bounce(window, tuple(lows[i] for i in mine))
            if bounce.lies is Lies.INSIDE and bounce.most_s <= allowed_s < _joined_s(bounce, beside, allowed_s) / EDGES.nearly:
                bounce = replace(bounce, lies=Lies.VAGUE)
            found.append(bounce)
    return tuple(found)


def _joined_s(bounce: Bounce, beside: list[LowInterval], allowed_s: float) -> float:
    """How long the bounce is with the short losses beside it, each less than a bounce's time from the next, seconds.

    The bin in which the feed comes on may hide an opening of its own: a bounce right behind it may have begun in that bin.
    """
    start_s, end_s = bounce.start_s, bounce.end_s
    on_s, width_s = bounce.window.inner[0], bounce.window.outer[1] - bounce.window.inner[1]
    if bounce.window.name == AS_IT_CAME_ON and start_s - on_s < 2 * width_s:
        start_s = on_s
    for low in sorted(beside, key=lambda low: low.start_s):
        if end_s < low.start_s < end_s + allowed_s:
            end_s = low.end_s
    for low in sorted(beside, key=lambda low: -low.end_s):
        if start_s - allowed_s < low.end_s < start_s:
            start_s = low.start_s
    return end_s - start_s


def _fits(low: LowInterval, start_s: float, end_s: float, allowed_s: float) -> bool:
    """Whether a loss can be taken into a bounce without making it longer than allowed."""
    return (start_s <= low.start_s and low.end_s <= end_s) or max(end_s, low.end_s) - min(start_s, low.start_s) <= allowed_s / 2


def _bounce(window: TravelWindow, members: tuple[LowInterval, ...]) -> Bounce:
    slack_s = max(0.5 * max(m.high_s - m.low_s for m in members), 0.0)
    start_s, end_s = min(m.start_s for m in members), max(m.end_s for m in members)
    lies = window.lies(start_s, end_s)
    if lies is Lies.INSIDE and window.lies(start_s - slack_s, end_s + slack_s) is not Lies.INSIDE:
        # Its edges are as sharp as the window's: the coil's edge and the feed's come from the same samples.
        lies = Lies.INSIDE if slack_s < EDGES.sharp_s else Lies.VAGUE
    return Bounce(window, members, lies)
