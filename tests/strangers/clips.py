"""From the true volts to what hangs on each recorded lead: leads swapped, off, moved, the ground clip astray, disturbances."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.strangers.world import World

Floats = NDArray[np.float64]


def at_the_clips(w: World) -> dict[str, Floats]:
    """Volts on each recorded lead, shape (m,) at the world's times, in the order of the leads."""
    tricks = w.plan.record.tricks
    t = w.t_s
    source = dict(w.volts)
    if "swapped" in tricks:
        a, b = tricks["swapped"]
        source[a], source[b] = w.volts[b], w.volts[a]
    if "copy" in tricks:
        role, of, at = tricks["copy"]
        source[role] = np.where(t >= at, w.volts[of], source[role])
    if "off" in tricks:
        role, at, until = tricks["off"]
        hum = 0.02 * np.sin(2 * np.pi * 50.0 * t)  # an open divider picks up a little, from memory
        source[role] = np.where((t >= at) & (t < until), hum, source[role])
    if "ground" in tricks:
        kind, at, volts = tricks["ground"]
        moved = t >= at
        shift = np.where(moved, -w.volts["engine_ground"] if kind == "block" else volts, 0.0)
        source = {role: v + shift for role, v in source.items()}
    if "tone" in tricks:
        hz, volts = tricks["tone"]
        tone = volts * np.sin(2 * np.pi * hz * t)
        source = {role: v + tone for role, v in source.items()}
    return {role: source[role] for role in w.plan.record.leads}
