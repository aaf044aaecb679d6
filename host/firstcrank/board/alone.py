"""The limits as codes, for a board that is to judge the key feed without a laptop."""

from __future__ import annotations

import json
import zlib
from base64 import b64encode
from collections.abc import Sequence

from firstcrank.analysis.uncertainty import of_difference, of_voltage
from firstcrank.calibration import CODES, Calibration, ChannelCalibration
from firstcrank.converters import CONVERTERS
from firstcrank.errors import UsageError
from firstcrank.limits import Limits
from firstcrank.model.measured import COVERAGE
from firstcrank.thresholds import thresholds_for
from firstcrank.thresholds.tracker import TRACKER
from firstcrank.units import US_PER_S
from firstcrank.wire_bodies import ChannelBody

BIN_US = 24576  # 32 bins of 0.77 ms: a minute and more fits the board's memory
TABLE_VERSION = 2  # firmware/firstcrank_board/alone_table.py
MANY = TRACKER.board_mean_conversions


def alone_table(
    limits: Limits, calibration: Calibration, channels: Sequence[ChannelBody], feed_kind: str | None = None
) -> dict[str, object]:
    """The table that ARM carries (docs/wire_format.md). channels: role and pin each; feed_kind as in Context.

    Voltages become codes by each channel's calibration, means in 1/16 code; those that a PASS or a FAIL must clear are moved by
    the expanded uncertainty. Raises UsageError without the roles battery and key_switch, CalibrationError for a role that
    the calibration does not have.
    """
    roles = [str(channel["role"]) for channel in channels]
    if not {"battery", "key_switch"} <= set(roles):
        raise UsageError("working alone needs the leads battery and key_switch")
    battery, key = calibration.channel("battery"), calibration.channel("key_switch")
    source = calibration.channel("feed_source") if "feed_source" in roles else battery
    th = thresholds_for(limits.system_v)
    twelve = limits.system_v == 12
    minimum_v = limits["module_minimum_v"]
    guard_v = COVERAGE * of_voltage(minimum_v, key.uncertainty, MANY)
    single_v = COVERAGE * of_voltage(minimum_v, key.uncertainty)
    drop_v = limits["feed_drop_loaded_fail_v" if feed_kind == "loaded" else "feed_drop_fail_v"]
    drop_guard_v = COVERAGE * of_difference(
        limits.system_v, source.uncertainty, limits.system_v, key.uncertainty, TRACKER.board_drop_conversions
    )
    drop_guard_v += _steps_apart_code(key) * key.gain_v_per_code
    coil_live16 = mean16(calibration.channel("starter_coil"), th.crank.coil_live_v) if "starter_coil" in roles else 0
    return {
        "version": TABLE_VERSION,
        "limits": packed_limits(limits),
        "feed_kind": feed_kind,
        "channels": [dict(channel) for channel in sorted(channels, key=lambda channel: int(channel["pin"]))],
        "bin_us": BIN_US,
        "trigger_code": key.code(minimum_v),
        "off16": mean16(key, limits["feed_off_v"]),
        "live16": mean16(key, limits["feed_live_v"]),
        "minimum_pass16": mean16(key, minimum_v + guard_v),
        "minimum_fail_code": key.code(minimum_v - single_v),
        "ratio4096": round(4096 * source.gain_v_per_code / key.gain_v_per_code),
        "offset16": round(16 * (source.offset_v - key.offset_v) / key.gain_v_per_code),
        "drop_pass16": step16(key, drop_v - drop_guard_v),
        "drop_fail16": step16(key, drop_v + drop_guard_v),
        "sag16": step16(battery, th.crank.inrush_v),
        "recover16": step16(battery, th.tracker.recover_v),
        "ripple16": step16(battery, th.tracker.ripple_v),
        "charged16": mean16(battery, th.tracker.charged_v),
        "rest_low16": mean16(battery, th.evidence.rest_low_v if twelve else th.evidence.rest_low_24v),
        "rest_high16": mean16(battery, th.evidence.rest_high_v if twelve else th.evidence.rest_high_24v),
        "coil_live16": coil_live16,
        "turn_sag16": step16(battery, th.tracker.turn_sag_v),
        "battery_gone16": mean16(battery, th.evidence.battery_gone_v),
        "ground_rise_code": calibration.channel("module_ground").code(th.tracker.ground_rise_v)
        if "module_ground" in roles
        else CODES - 1,
        "dropout_min_us": round(limits["dropout_min_s"] * US_PER_S),
        "dropout_total_us": round(limits["dropout_total_max_s"] * US_PER_S),
        "bounce_us": round(limits["turn_bounce_max_s"] * US_PER_S),
        "crank_ms": round(limits["crank_min_s"] * 1000),
        "crank_running_ms": round(limits["crank_min_running_s"] * 1000),
        "after_ms": round(limits["after_release_s"] * 1000),
        "run_on_ms": round(limits["run_on_s"] * 1000),
    }


def _steps_apart_code(line: ChannelCalibration) -> float:
    """How far two leads' codes of one voltage can differ by a wide code that lies between them: the board subtracts plain codes."""
    wide = CONVERTERS[line.converter].wide if line.converter else ()
    return max((width for _, width in wide), default=0.0)


def packed_limits(limits: Limits) -> dict[str, object]:
    """The limits short enough for a frame of the board, which only keeps them: values as compressed JSON in base 64."""
    values = json.dumps(dict(limits.values), separators=(",", ":")).encode("ascii")
    return {"system_v": limits.system_v, "name": limits.name, "packed": b64encode(zlib.compress(values, 9)).decode("ascii")}


def mean16(line: ChannelCalibration, volts: float) -> int:
    """A voltage as a mean in 1/16 code, within the converter's range."""
    return min(max(round(16 * line.real_code(volts)), 0), 16 * (CODES - 1))


def step16(line: ChannelCalibration, volts: float) -> int:
    """A difference of voltages in 1/16 code, at least 1."""
    return max(round(16 * volts / line.gain_v_per_code), 1)
