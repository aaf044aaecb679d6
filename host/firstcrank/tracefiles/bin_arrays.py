"""From the bins of one recording to arrays: time base, codes, runs, and every hole that the bins themselves can show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from firstcrank import wire
from firstcrank.errors import UnreadableTraceError
from firstcrank.thresholds.files import FILES
from firstcrank.trace import FloatArray, Hole, IntArray
from firstcrank.tracefiles.frames import Gathered

Number = TypeVar("Number", np.int64, np.float64)
NS = 1e-9
US = 1e-6
HEAD = np.dtype(
    [
        ("first_conversion", "<u8"),
        ("ticks_us", "<u4"),
        ("span_us", "<u4"),
        ("lost_conversions", "<u4"),
        ("lost_bins", "<u4"),
        ("short_writes", "<u4"),
        ("worst_gap_us", "<u4"),
        ("conversions", "<u2"),
        ("bin_count", "u1"),
        ("channel_count", "u1"),
    ]
)  # wire.BINS_FORMAT


@dataclass(frozen=True, slots=True)
class Codes:
    """All bins: times shape (n,); `codes` shape (n, channels, 3): mean in 1/16 code, lowest, highest; `runs` shape (n, 3).

    Codes stay as small as they came (16 bits). `integrity`: lines about a clock that can't be trusted; `lines`: remarks.
    """

    start_s: FloatArray
    end_s: FloatArray
    conversions: IntArray
    gap_s: FloatArray
    codes: NDArray[np.uint16]
    runs: NDArray[np.uint16]
    first_conversion: int
    holes: tuple[Hole, ...]
    integrity: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()


def to_codes(found: Gathered) -> Codes:
    """Arrays of all bins in time order. Raises UnreadableTraceError where channels are unknown or nothing was recorded."""
    if found.stream is None:
        raise UnreadableTraceError("the recording lacks its description of channels: it was torn before the first second")
    count = len(found.stream["channels"])
    heads = np.frombuffer(bytes(found.heads), dtype=HEAD)
    keep = _rising(heads, count)
    if not len(keep):
        raise UnreadableTraceError("the recording holds no readings")
    fields = _fields(found, heads, keep, count)
    heads = heads[keep]
    period_s = float(found.stream.get("conversion_ns", 0)) * NS
    begin_s, span_s, gap_s = _times(heads, count, period_s)
    if not float(begin_s[-1] + span_s[-1]) <= FILES.longest_s:
        raise UnreadableTraceError("damaged beyond reading: its clock jumps by hours")
    bins = heads["bin_count"].astype(np.int64)
    within = np.arange(int(bins.sum())) - np.repeat(np.cumsum(bins) - bins, bins)
    each_s = np.repeat(span_s / bins, bins)
    start_s = np.repeat(begin_s, bins) + within * each_s
    end_s = start_s + each_s
    np.minimum(end_s[:-1], start_s[1:], out=end_s[:-1])  # rounding must not make bins overlap
    holes = [*_at_the_begin(found, heads, count, period_s), *_between(heads, count, begin_s, span_s)]
    tail, lines = _at_the_end(found, heads, np.asarray(found.bins_numbers, dtype=np.int64)[keep], float(end_s[-1]), span_s)
    return Codes(
        start_s=start_s,
        end_s=end_s,
        conversions=_spread(heads["conversions"].astype(np.int64), bins),
        gap_s=_spread(gap_s, bins),
        codes=fields[:, : 3 * count].reshape(-1, count, 3),
        runs=fields[:, 3 * count :],
        first_conversion=int(heads["first_conversion"][0]),
        holes=(*holes, *tail),
        integrity=_clock(heads, period_s),
        lines=lines,
    )


def _spread(values: NDArray[Number], bins: NDArray[np.int64]) -> NDArray[Number]:
    """Each frame's value for each of its bins; one value seen as an array where all frames have the same (read only)."""
    if bool((values == values[0]).all()):
        return np.broadcast_to(values[0], int(bins.sum()))
    return np.repeat(values, bins)


def _rising(heads: NDArray[np.void], count: int) -> NDArray[np.int64]:
    """Indexes of the frames whose conversion index goes on from the one before; what goes back is a repeat, left out."""
    keep: list[int] = []
    following = -1
    rows = zip(
        *(heads[name].tolist() for name in ("first_conversion", "bin_count", "conversions", "channel_count")), strict=True
    )
    for i, (first, bins, conversions, channels) in enumerate(rows):
        if channels == count and first >= following:
            keep.append(i)
            following = first + bins * conversions * count
    return np.asarray(keep, dtype=np.int64)


def _fields(found: Gathered, heads: NDArray[np.void], keep: NDArray[np.int64], count: int) -> NDArray[np.uint16]:
    """The bins of the frames kept, shape (n, 3 channels + 3); a copy only where a frame was left out."""
    if len(keep) == len(heads):
        return np.frombuffer(found.bins, dtype="<u2").reshape(-1, 3 * count + 3)
    sizes = heads["bin_count"].astype(np.int64) * (3 * heads["channel_count"].astype(np.int64) + 3)
    kept = np.zeros(len(heads), dtype=bool)
    kept[keep] = True
    fields: NDArray[np.uint16] = np.frombuffer(found.bins, dtype="<u2")[np.repeat(kept, sizes)].reshape(-1, 3 * count + 3)
    return fields


def _times(heads: NDArray[np.void], count: int, period_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Begin and span of each frame and the longest time between two samples of the feed in it, seconds, shape (frames,)."""
    if period_s > 0:
        first = heads["first_conversion"]
        begin_s = (first - first[0]).astype(np.float64) * period_s
        span = heads["bin_count"].astype(np.float64) * heads["conversions"] * count
        return begin_s, span * period_s, np.full(len(heads), count * period_s)
    ticks = unwrapped(heads["ticks_us"].astype(np.int64))
    span_s = heads["span_us"].astype(np.float64) * US
    gap_s = heads["worst_gap_us"].astype(np.float64) * US
    gap_s[0] = min(gap_s[0], span_s[0])
    return (ticks - ticks[0]) * US, np.maximum(span_s, US), gap_s


def unwrapped(ticks_us: IntArray) -> IntArray:
    """Board ticks made to rise over their wrap at 2**30 us, shape kept."""
    if len(ticks_us) < 2:
        return ticks_us
    steps = np.mod(np.diff(ticks_us), wire.TICKS_WRAP_US)
    return np.concatenate((ticks_us[:1], ticks_us[0] + np.cumsum(steps)))


def _clock(heads: NDArray[np.void], period_s: float) -> tuple[str, ...]:
    """A free-running converter's own count is the time base; the board's clock, read beside it, must agree."""
    if period_s <= 0 or len(heads) < 2:
        return ()
    first = heads["first_conversion"]
    by_index_us = (first - first[0]).astype(np.float64) * period_s / US
    ticks = np.mod(heads["ticks_us"].astype(np.int64) - int(heads["ticks_us"][0]), wire.TICKS_WRAP_US)
    half = wire.TICKS_WRAP_US / 2.0
    apart_us = np.mod(ticks - by_index_us + half, wire.TICKS_WRAP_US) - half  # whatever the wrap, the nearest
    wrong = np.flatnonzero(np.abs(apart_us) > FILES.clock_rel * by_index_us + FILES.clock_s / US)
    if not len(wrong):
        return ()
    at = int(wrong[0])
    return (
        f"the board's clock and its count of conversions disagree by {abs(apart_us[at]) / 1000.0:.0f} ms after "
        f"{by_index_us[at] * US:.1f} s: times in this recording cannot be trusted",
    )


def _at_the_begin(found: Gathered, heads: NDArray[np.void], count: int, period_s: float) -> list[Hole]:
    """Readings made before the first that arrived: by their index, or by the frames missing before it."""
    head = heads[0]
    if not found.begins_late:
        missing = int(head["first_conversion"])
        each_s = period_s or float(head["span_us"]) * US / max(int(head["bin_count"]) * int(head["conversions"]) * count, 1)
        lost = int(head["lost_conversions"])
        why = f"the board could not keep up ({lost} conversions lost)" if lost else "the first readings did not arrive"
        return [Hole(-missing * each_s, 0.0, why)] if missing else []
    first = int(found.bins_numbers[0])
    came = len({number for number in found.numbers if number < first})
    longest_s = float(heads["span_us"].max()) * US
    return [Hole(-(first - came) * longest_s, 0.0, "the first readings did not arrive")] if first > came else []


def _between(heads: NDArray[np.void], count: int, begin_s: FloatArray, span_s: FloatArray) -> list[Hole]:
    """Each jump of the conversion index, with its cause by the board's counters, which may rise long before the jump is sent.

    Losses counted and nowhere in the index lie somewhere in the frame whose counter rose: all of it is a hole.
    """
    first, sizes = (
        heads["first_conversion"].astype(np.int64),
        heads["bin_count"].astype(np.int64) * heads["conversions"] * count,
    )
    missing = np.concatenate(([0], first[1:] - first[:-1] - sizes[:-1]))
    rises = {name: np.concatenate(([0], np.diff(heads[name].astype(np.int64)))) for name in ("lost_conversions", "lost_bins")}
    explained_by_index = int(missing.sum()) >= int(rises["lost_conversions"].sum()) and bool(
        missing.any() or not rises["lost_bins"].any()
    )
    busy = np.flatnonzero((missing != 0) | (rises["lost_conversions"] != 0) | (rises["lost_bins"] != 0))
    holes: list[Hole] = []
    conversions = bins = 0
    for i in busy.tolist():
        conversions += int(rises["lost_conversions"][i])
        bins += int(rises["lost_bins"][i])
        if conversions:
            why = f"the board could not keep up ({conversions} conversions lost)"
        elif bins:
            why = f"the link to the laptop stalled ({bins} bins lost)"
        else:
            why = "bytes were lost or damaged on the way to the laptop"
        if missing[i]:
            holes.append(Hole(float(begin_s[i - 1] + span_s[i - 1]), float(begin_s[i]), why))
        elif not explained_by_index:
            holes.append(Hole(float(begin_s[i]), float(begin_s[i] + span_s[i]), why))
        else:
            continue
        conversions = bins = 0
    return holes


def _at_the_end(
    found: Gathered, heads: NDArray[np.void], numbers: NDArray[np.int64], end_s: float, span_s: FloatArray
) -> tuple[list[Hole], tuple[str, ...]]:
    """Readings lost behind the last that arrived, and remarks on frames that are missing."""
    lines: list[str] = []
    seen = set(found.numbers)
    every = max(seen) + 1 - (min(seen) if found.begins_late else 0)
    lost = every - len(seen)
    if lost > 0:
        lines.append(f"{lost} of the board's {every} frames did not arrive")
    if found.malformed:
        lines.append(f"{found.malformed} frames of the board hold no readings that can be used")
    if found.end_number is None:
        return [], tuple(lines)
    last = int(numbers.max())
    behind = len({n for n in seen if last < n < found.end_number})
    gone = found.end_number - last - 1 - behind
    if gone > 0:
        return [Hole(end_s, end_s + gone * float(span_s.max()), "the last readings did not arrive")], tuple(lines)
    unsent = _whole(found.counters.get("lost_bins")) - int(heads["lost_bins"][-1])
    if unsent > 0:
        each_s = float(span_s[-1]) / int(heads["bin_count"][-1])
        return [Hole(end_s, end_s + unsent * each_s, f"the last {unsent} bins were never sent")], tuple(lines)
    return [], tuple(lines)


def _whole(value: object) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 1 << 62 else 0
