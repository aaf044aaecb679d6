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

    A line fitted through points is known best in their middle, so its slope's uncertainty turns about a pivot. What no straight line
    shows has its numbers in error_terms.py.

    Attributes:
        gain_rel: Slope, relative, about `pivot_v`, of this channel alone.
        offset_v: Offset, volts, of this channel alone.
        shared_gain_rel: Of reading, about 0 V, relative, common to all channels (reference, meter).
        noise_v: Noise of a single conversion, volts; a mean of N conversions carries noise_v / sqrt(N).
        steps_v: The converter's nonlinearity that is left, volts.
        drift_rel: The resistors since calibration, of reading, relative.
        shared_drift_rel: The reference since calibration, of reading, relative, common to all channels.
        leakage_v: Of the clamp, volts.
        settling_v: What the lead converted before leaves in the converter, volts.
        shared_offset_v: Offset, volts, common to all channels (the one converter's). What is common cancels in a difference of two
            channels that are nearly equal.
        shared_slope_rel: Slope, relative, about `shared_pivot_v`, common to all channels.
        pivot_v: Where `gain_rel` turns, volts.
        shared_pivot_v: Where `shared_slope_rel` turns, volts.

    Raises:
        ValueError: A field is below 0 (a pivot: below -1000), 1000 or more, or no number.
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
    """One lead over all n bins.

    Attributes:
        role: What the lead is clipped to, one of roles.ROLES.
        mean_v: Mean of each bin, shape (n,), volts.
        lowest_v: Lowest single conversion in each bin, shape (n,), volts.
        highest_v: Highest single conversion in each bin, shape (n,), volts.
        uncertainty: Of these voltages.
        full_scale_v: Reading above which the input clips, volts; None where the source cannot say (a CSV).

    Raises:
        ValueError: The role is unknown, or the arrays are not one-dimensional and of one length.
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
    """Runs of consecutive key-feed conversions below the trigger, per bin, counted in conversions.

    They give a dropout's duration with bounds finer than a bin.

    Attributes:
        trigger_v: Below this a conversion counts, volts.
        longest: Longest run anywhere in the bin, shape (n,), conversions.
        head: The run that touches the bin's start, shape (n,), conversions.
        tail: The run that touches the bin's end, shape (n,), conversions.
        filter_s: Time constant of the feed's input, seconds; 0 where unknown.
    """

    trigger_v: float
    longest: IntArray
    head: IntArray
    tail: IntArray
    filter_s: float = 0.0


@dataclass(frozen=True, slots=True)
class CloseUp:
    """Raw conversions around one edge of the feed, m of each role.

    Attributes:
        edge_s: When the reading crossed the trigger, seconds since the first bin.
        falling: Whether it fell below the trigger.
        start_s: Time of the close-up's first conversion, seconds since the first bin.
        period_s: Time between two conversions of one role, seconds.
        volts: Role to its conversions, shape (m,), volts, at times `start_s + offset_s[role] + arange(m) * period_s`.
        offset_s: Role to the time of its first conversion after `start_s`, seconds.
        filter_s: Time constant of the key feed's input, by which the reading lags behind the feed, seconds; 0 where unknown.
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
    """A stretch in which nothing was sampled, or the samples are lost.

    Attributes:
        start_s: Its start, seconds since the first bin.
        end_s: Its end, seconds since the first bin.
        why: Plain words for the user.
    """

    start_s: float
    end_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Trace:
    """Bins of all channels on one time base, with everything known to be missing.

    Attributes:
        start_s: Start of each bin, shape (n,), seconds since the first bin, rising.
        end_s: End of each bin, shape (n,), seconds since the first bin; `end_s[i] <= start_s[i + 1]`.
        conversions: Conversions per channel folded into each bin, shape (n,); 1 for a row of a CSV.
        gap_s: Longest time between two samples of the key feed in each bin, shape (n,), seconds: a dropout shorter than this can pass
            unseen.
        channels: Role to its channel, all of n bins.
        runs: Runs of the key feed below the trigger; None where the source has none.
        close_ups: In time order.
        holes: In time order.
        complete: False where the recording ends without the board's or the recorder's closing word (cable pulled, torn file).
        notes: Plain lines about the source worth showing.
        origin: What is known of where it came from (recording id, board, firmware, file, synthetic).
        integrity: Plain lines about limits, answers, calibration or identity of the recording that are lost, damaged or another
            recording's: with any of them there is no verdict.
        kind: What was recorded, by the recording's protected identity: "start", or a test in which no engine is started ("switch
            test"), which can never pass as a start.

    Raises:
        ValueError: An array or a channel does not fit the shape of `start_s`, or a channel stands under another role.
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
        """The number of bins, n.

        Returns:
            0 or more.
        """
        return int(self.start_s.shape[0])

    def has(self, *roles: str) -> bool:
        """Whether roles were recorded.

        Args:
            *roles: Names of roles, as in roles.ROLES.

        Returns:
            True where every one of `roles` was recorded.
        """
        return all(role in self.channels for role in roles)

    @property
    def mid_s(self) -> FloatArray:
        """Middle of each bin, shape (n,), seconds."""
        return np.asarray((self.start_s + self.end_s) / 2.0, dtype=np.float64)
