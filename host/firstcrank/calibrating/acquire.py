"""What the inputs read, sampled as recordings sample: configure and start with the same leads, then the mean of the bins.

A slow single reading loads the dividers otherwise than free-running conversions do; what those leave must be calibrated out alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from statistics import NormalDist

import numpy as np

from firstcrank import wire
from firstcrank.errors import LinkLostError, UnreadableTraceError
from firstcrank.link.board_client import BoardClient
from firstcrank.link.short_recording import short_recording
from firstcrank.thresholds.calibration import CALIBRATION
from firstcrank.trace import FloatArray
from firstcrank.tracefiles.bin_arrays import Codes, to_codes
from firstcrank.tracefiles.frames import gather


def readings(client: BoardClient) -> tuple[Mapping[str, float], Mapping[str, float]]:
    """Mean code and noise (rms codes) of each lead, by role. The board must be configured.

    Raises LinkLostError where nothing usable came.
    """
    try:
        found = gather(short_recording(client, CALIBRATION.reading_s))
        codes = to_codes(found)
    except UnreadableTraceError as error:
        raise LinkLostError(
            f"the board sent no readings ({error}): unplug it, plug it in again, calibrate once more"
        ) from error
    roles = [str(channel["role"]) for channel in (found.stream or {}).get("channels", ())]
    if not roles or len(roles) != codes.codes.shape[1]:
        raise LinkLostError("the board sent no description of its leads: unplug it, plug it in again, calibrate once more")
    mean = np.average(_means(codes), axis=0, weights=codes.conversions)
    noise = rms_code(codes)
    return dict(zip(roles, map(float, mean), strict=True)), dict(zip(roles, map(float, noise), strict=True))


def rms_code(codes: Codes) -> FloatArray:
    """Noise of single conversions from the bins' range, or the unrest of their means where that is more; shape (leads,), codes.

    The mean range of n normal values is about 2 z((n - 3/8) / (n + 1/4)) standard deviations (Blom 1958, from memory).
    """
    many = max(float(np.median(codes.conversions)), 2.0)
    ranges = 2.0 * NormalDist().inv_cdf((many - 0.375) / (many + 0.25))
    span = codes.codes[:, :, 2].astype(np.float64) - codes.codes[:, :, 1]
    return np.asarray(np.maximum(span.mean(axis=0) / ranges, _means(codes).std(axis=0)))


def _means(codes: Codes) -> FloatArray:
    """Mean code of each bin and lead, shape (n, leads)."""
    return np.asarray(codes.codes[:, :, 0] / wire.MEAN_SCALE, dtype=np.float64)
