"""A trace: what was seen on each lead, bin by bin, in volts and seconds. The one value that analysis works on.

Every source (live board, recording, CSV of another logger, simulation) ends here, so the judge has one path.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firstcrank.roles import ROLES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties (k = 1, JCGM 100) of one channel's voltage.

    `gain_rel` and `offset_v` belong to this channel alone, `shared_gain_rel` and `shared_offset_v` are common to all channels
    (reference, meter, the one converter's offset) and cancel in a difference of two channels that are nearly equal. A line fitted
    through points is known best in their middle, so `gain_rel` turns about `pivot_v`, and `shared_slope_rel` about
    `shared_pivot_v`; `shared_gain_rel` is of reading, about 0 V.
    `noise_v` is the noise of a single conversion; a mean of N conversions carries noise_v / sqrt(N).

    What no straight line shows (error_terms.py): `steps_v` the converter's nonlinearity that is left, `drift_rel` the resistors and
    `shared_drift_rel` the reference since calibration, of reading, `leakage_v` of the clamp, `settling_v` what the lead converted
    before leaves in the converter.
    """

    gain_rel: float
    offset_v: float
    shared_gain_rel: float = 0.0
    noise_v: float = 0.0
    steps_v: float = 0.0
    drift_rel: float = 0.0
    shared_drift_rel: float = 0.0
    leakage_v: float = 0.0
    settling_v: float = 0.0
    shared_offset_v: float = 0.0
    shared_slope_rel: float = 0.0
    pivot_v: float = 0.0
    shared_pivot_v: float = 0.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            value = getattr(self, name)
            lowest = -1e3 if name in ("pivot_v", "shared_pivot_v") else 0.0
            if not lowest <= value < 1e3:
                raise ValueError(f"{name} is {value}, must be 0 or more and finite")


@dataclass(frozen=True, slots=True)
class Channel:
    """One lead over all n bins. Arrays have shape (n,), volts.

    `lowest_v` and `highest_v` are the lowest and highest single conversion in each bin. `full_scale_v` is the
    reading above which the input clips; None where the source cannot say (a CSV).
    """

    role: str
    mean_v: FloatArray
    lowest_v: FloatArray
    highest_v: FloatArray
    uncertainty: Uncertainty
    full_scale_v: float | None = None

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise ValueError(f"role {self.role!r} is not one of {', '.join(ROLES)}")
        if not self.mean_v.shape == self.lowest_v.shape == self.highest_v.shape or self.mean_v.ndim != 1:
            raise ValueError(f"{self.role}: mean, lowest and highest must be one-dimensional and of one length")


@dataclass(frozen=True, slots=True)
class KeyRuns:
    """Runs of consecutive key-feed conversions below `trigger_v`, per bin, shape (n,), counted in conversions.

    `longest` anywhere in the bin, `head` the run that touches the bin's start, `tail` the one that touches its
    end. They give a dropout's duration with bounds finer than a bin. `filter_s` is the time constant of the feed's input, 0 where unknown.
    """

    trigger_v: float
    longest: IntArray
    head: IntArray
    tail: IntArray
    filter_s: float = 0.0


@dataclass(frozen=True, slots=True)
class CloseUp:
    """Raw conversions around one edge of the feed.

    `volts[role]` has shape (m,) at times `start_s + offset_s[role] + arange(m) * period_s`. `edge_s`: when the reading crossed
    the trigger. `filter_s`: time constant of the key feed's input, by which the reading lags behind the feed; 0 where unknown.
    """

    edge_s: float
    falling: bool
    start_s: float
    period_s: float
    volts: Mapping[str, FloatArray]
    offset_s: Mapping[str, float]
    filter_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Hole:
    """A stretch in which nothing was looked at, or what was seen is lost. `why` is plain words for the user."""

    start_s: float
    end_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Trace:
    """Bins of all channels on one time base, with everything known to be missing.

    `start_s`, `end_s`: shape (n,), seconds since the first bin, rising; end_s[i] <= start_s[i + 1].
    `conversions`: shape (n,), conversions per channel folded into each bin (1 for a row of a CSV).
    `gap_s`: shape (n,), longest time between two looks at the key feed in each bin: a dropout shorter than
    this can pass unseen.
    `close_ups`, `holes`: in time order. `complete` is False where the recording ends without the board's or the
    recorder's closing word (cable pulled, torn file); `notes` are plain lines about the source worth showing.
    `origin` holds what is known of where it came from (recording id, board, firmware, file, synthetic).
    `integrity`: plain lines about limits, answers, calibration or identity of the recording that are lost, damaged or another
    recording's: with any of them there is no verdict. `kind` is what was recorded, by the recording's protected identity:
    "start", or a test in which no engine is started ("switch test"), which can never pass as a start.
    """

    start_s: FloatArray
    end_s: FloatArray
    conversions: IntArray
    gap_s: FloatArray
    channels: Mapping[str, Channel]
    runs: KeyRuns | None = None
    close_ups: tuple[CloseUp, ...] = ()
    holes: tuple[Hole, ...] = ()
    complete: bool = True
    notes: tuple[str, ...] = ()
    origin: Mapping[str, object] = field(default_factory=dict)
    integrity: tuple[str, ...] = ()
    kind: str = "start"

    def __post_init__(self) -> None:
        count = self.start_s.shape
        for name in ("end_s", "conversions", "gap_s"):
            if getattr(self, name).shape != count:
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, start_s has {count}")
        for role, channel in self.channels.items():
            if channel.role != role or channel.mean_v.shape != count:
                raise ValueError(f"channel {role} does not fit the time base of shape {count}")

    def __len__(self) -> int:
        return int(self.start_s.shape[0])

    def has(self, *roles: str) -> bool:
        """True where every one of `roles` was recorded."""
        return all(role in self.channels for role in roles)

    @property
    def mid_s(self) -> FloatArray:
        """Middle of each bin, shape (n,), seconds."""
        return np.asarray((self.start_s + self.end_s) / 2.0, dtype=np.float64)
