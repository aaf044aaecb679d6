"""Square dropouts from 4 us to 50 ms at random phase, on every channel: how many a bin's minimum catches, how long they are said to be.

What the converter can do: it samples each of three channels every 6 us, so a dropout of L is caught with the chance L / 6 us,
and always from 6 us on; its length is known to one sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .dropouts import TRIGGER, Dropouts
from .session import CHANNELS, Session

LENGTHS_US = (4, 5, 6.001, 7, 10, 20, 50, 100, 300, 1_000, 3_000, 10_000, 50_000)
REPEATS = 6
APART_S = 0.0021
ROUND_S = 6e-6
KEY = 1
LONGEST, HEAD, TAIL = 9, 10, 11  # words of a bin of three channels


@dataclass(frozen=True, slots=True)
class Swept:
    """Of one length on one channel: dropouts played and caught, and for the key feed the errors of their lengths in seconds."""

    length_us: float
    channel: int
    played: int
    caught: int
    errors_s: tuple[float, ...]


def run_lengths(fields: np.ndarray, samples: int) -> list[int]:
    """The key feed's runs below the trigger, joined across bins, in samples. At most one run begins in a bin."""
    found, going = [], 0
    for longest, head, tail in fields[:, [LONGEST, HEAD, TAIL]].astype(int).tolist():
        if head == samples:
            going += samples
            continue
        if going or head:
            found.append(going + head)
            going = 0
        if tail:
            going = tail
        elif longest > head:
            found.append(longest)
    return found + [going] * bool(going)


def sweep(board: Session, dropouts: Dropouts, channel: int) -> list[Swept]:
    """Plays all of them into one recording, the lengths that may be missed last, and counts."""
    rng = np.random.default_rng([channel, 5])
    lengths_us = [length_us for length_us in reversed(LENGTHS_US) for _ in range(REPEATS)]
    stream = board.start(trigger_code=TRIGGER)
    at_s = board.chip.now_s + 0.004
    for length_us in lengths_us:
        dropouts.add(channel, at_s + float(rng.uniform(0.0, 1e-3)), length_us * 1e-6)
        at_s += length_us * 1e-6 + APART_S
    while board.chip.now_s < at_s + 0.03:
        board.chip.run(0.2)
        board.pull()
    board.stop()
    fields = np.concatenate([w for _, w in board.heads()])
    low = np.concatenate(([False], fields[:, len(CHANNELS) * channel + 1] < TRIGGER, [False]))
    caught = int((np.diff(low.astype(int)) == 1).sum())
    runs = run_lengths(fields, stream["conversions_per_bin"]) if channel == KEY else []
    swept, seen = [], 0
    for length_us in reversed(LENGTHS_US):
        here = min(REPEATS, caught - seen)
        errors = tuple(run * ROUND_S - length_us * 1e-6 for run in runs[seen : seen + here])
        swept.append(Swept(length_us, channel, REPEATS, here, errors))
        seen += here
    return swept
