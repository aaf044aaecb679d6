"""Harness watch: the key ON for hours while somebody moves the harness. Every loss counted, timed, tagged with the place. Pure.

Memory does not grow with time: of each place a count and its worst losses are kept. An unsupported battery warns at 12.2 V and ends it
at 12.0 V (common practice, no source: below that it may not crank any more); at 24 V double.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from firstcrank.analysis.intervals import runs_of
from firstcrank.limits import shipped
from firstcrank.thresholds.visit import VISIT
from firstcrank.trace import FloatArray

REST_WARN_V = shipped(12)["battery_rest_warn_v"]
MOST_KEPT = 20  # losses kept of each place
MOST_PLACES = 50
UNNAMED = "no place named"


@dataclass(frozen=True, slots=True)
class Loss:
    """One loss of the feed: when it began, seconds of the watch; how long at least; the lowest reading, volts; where."""

    at_s: float
    lasted_s: float
    lowest_v: float
    place: str


@dataclass(frozen=True, slots=True)
class Place:
    """What was lost while this place was moved: how often, the longest, and the latest of them."""

    count: int = 0
    longest_s: float = 0.0
    losses: tuple[Loss, ...] = ()


@dataclass(frozen=True, slots=True)
class HarnessWatch:
    """`limit_v` is what the feed must not fall below. `open_loss` is one that has not ended. `new` counts those of the last step."""

    limit_v: float
    live_v: float
    scale: float = 1.0
    supported: bool = False
    place: str = UNNAMED
    now_s: float = 0.0
    watched_s: float = 0.0
    battery_v: float = 0.0
    feed_v: float = 0.0
    on: bool = False
    low_battery_s: float = 0.0
    count: int = 0
    new: int = 0
    open_loss: Loss | None = None
    places: Mapping[str, Place] = field(default_factory=dict)
    warned: bool = False
    stopped: str = ""


def name_place(watch: HarnessWatch, text: str) -> HarnessWatch:
    """From here on losses belong to this place."""
    known = text in watch.places or len(watch.places) < MOST_PLACES
    return replace(watch, place=text if text and known else watch.place)


def watch_step(
    watch: HarnessWatch, start_s: FloatArray, end_s: FloatArray, battery_v: FloatArray, feed_v: FloatArray, lowest_v: FloatArray
) -> HarnessWatch:
    """The watch after some bins, each array shape (n,), in time order. The key is ON once the feed has been live."""
    if not len(start_s):
        return replace(watch, new=0)
    mean_v = float(feed_v.mean())
    battery = float(np.median(battery_v))
    on = watch.on or mean_v > watch.live_v
    span_s = float(end_s[-1] - start_s[0])
    low_s = watch.low_battery_s + span_s if battery < VISIT.stop_v * watch.scale else 0.0
    stopped = watch.stopped
    if on and not watch.supported and low_s >= VISIT.low_for_s:
        stopped = f"battery at {battery:.2f} V: key off, or it may not crank any more"
    after = replace(
        watch,
        now_s=float(end_s[-1]),
        watched_s=watch.watched_s + (span_s if on else 0.0),
        battery_v=battery,
        feed_v=mean_v,
        on=on,
        low_battery_s=low_s,
        new=0,
        warned=watch.warned or (on and not watch.supported and battery < REST_WARN_V * watch.scale),
        stopped=stopped,
    )
    return _losses(after, start_s, end_s, lowest_v) if watch.on else after


def _losses(watch: HarnessWatch, start_s: FloatArray, end_s: FloatArray, lowest_v: FloatArray) -> HarnessWatch:
    low = lowest_v < watch.limit_v
    if not low.any():
        return _closed(watch, float(start_s[0]))
    for first, past in zip(*(edges.tolist() for edges in runs_of(low)), strict=True):
        began_s, ended_s = float(start_s[first]), float(end_s[past - 1])
        deepest_v = float(lowest_v[first:past].min())
        open_loss = watch.open_loss
        if open_loss is not None and began_s - (open_loss.at_s + open_loss.lasted_s) <= VISIT.between_s:
            longer = replace(open_loss, lasted_s=ended_s - open_loss.at_s, lowest_v=min(open_loss.lowest_v, deepest_v))
            watch = replace(watch, open_loss=longer)
            continue
        watch = _closed(watch, began_s)
        loss = Loss(began_s, ended_s - began_s, deepest_v, watch.place)
        watch = replace(watch, open_loss=loss, count=watch.count + 1, new=watch.new + 1)
    return watch


def _closed(watch: HarnessWatch, now_s: float) -> HarnessWatch:
    """The loss at hand filed with its place, once it is over for long enough."""
    loss = watch.open_loss
    if loss is None or now_s - (loss.at_s + loss.lasted_s) <= VISIT.between_s:
        return watch
    place = watch.places.get(loss.place, Place())
    kept = tuple(sorted((*place.losses, loss), key=lambda one: -one.lasted_s)[:MOST_KEPT])
    filed = Place(place.count + 1, max(place.longest_s, loss.lasted_s), kept)
    return replace(watch, open_loss=None, places={**watch.places, loss.place: filed})


def finish(watch: HarnessWatch) -> HarnessWatch:
    """The watch with a loss that is still open filed."""
    return _closed(watch, float("inf"))


def ranked(watch: HarnessWatch) -> tuple[tuple[str, Place], ...]:
    """Places by how often the feed was lost there, then by the longest."""
    return tuple(sorted(watch.places.items(), key=lambda item: (-item[1].count, -item[1].longest_s)))
