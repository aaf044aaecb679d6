"""Every threshold with its value at 12 V and its unit, written down once more: no figure of the method changes unnoticed.

What is a voltage of the system ("V") doubles at 24 V, all else stays. Figures of the board's own state machine are those of its file.
"""

from __future__ import annotations

import pytest

from firstcrank.thresholds import rows, thresholds_for

from .threshold_values import TABLE

# Voltages that are the same at 24 V, each with its reason.
SAME_AT_24_V = {
    "evidence.rest_low_24v": "is that of a 24 V system",
    "evidence.rest_high_24v": "is that of a 24 V system",
    "evidence.rest_six_v": "tells a 6 V vehicle",
    "evidence.rest_below_zero_v": "a reversed lead reads the board's lowest, whatever the system",
    "evidence.step_dead_v": "a dead lead reads near zero, whatever the system",
    "speed.least_swing_v": "is what a board's converter still shows",
    "edges.same_points_v": "is how exactly inputs are calibrated",
    "plausible.silent_v": "is quantisation of 16 bits over 10 V",
    "noise.live_v": "is a lead that carries nothing",
    "noise.finest_v": "is rounding of text",
    "calibration.least_apart_v": "belongs to the input and its meter",
    "calibration.known_v": "belongs to the input and its meter",
    "calibration.low_top_v": "belongs to the input and its meter",
    "calibration.again_v": "belongs to the input and its meter",
    "board.pin_live_v": "belongs to the board's pin",
    "board.pin_dead_v": "belongs to the board's pin",
    "board.pin_bridged_v": "belongs to the board's pin",
    "files.csv_offset_v": "belongs to the logger",
    "files.changed_v": "is what a person acts on",
    "speed.least_sag_v": "is what a reading must be at all",
    "evidence.key_volts_v": "is the same lead in either system",
    "evidence.system_split_v": "is the same lead in either system",
    "vehicle.plug_least_v": "is what a reading must be at all",
    "vehicle.coil_reads_v": "is what a reading must be at all",
    "cause.alike_v": "is what a reading must differ by at all",
    "cause.relay_dead_v": "is what a reading must differ by at all",
    "cause.least_v": "is what a reading must differ by at all",
    "cause.least_deviation_v": "is what a reading must differ by at all",
    "calibration.meter_offset_most_v": "belongs to the input and its meter",
    "calibration.typed_most_v": "belongs to the input and its meter",
    "board.lifted_v": "belongs to the board",
    "files.profile_margin_v": "is a board's uncertainty",
}


@pytest.mark.parametrize(("system_v", "scale"), [(12, 1.0), (24, 2.0)])
def test_every_value_and_unit(system_v: int, scale: float) -> None:
    printed = {name: (value, unit) for name, value, unit, _ in rows(thresholds_for(system_v))}
    assert printed == {
        f"{group}.{name}": (value * scale if unit == "V" and f"{group}.{name}" not in SAME_AT_24_V else value, unit)
        for group, table in TABLE.items()
        for name, (value, unit) in table.items()
    }


def test_each_is_told_in_words() -> None:
    meanings = [meaning for *_, meaning in rows(thresholds_for(12))]
    assert len(meanings) == sum(len(table) for table in TABLE.values())
    assert all(len(meaning) > 5 for meaning in meanings)


def test_figures_that_belong_together() -> None:
    """One is never reached where the other is not."""
    th = thresholds_for(12)
    assert th.crank.maybe_sag_v < th.crank.sag_no_lead_v < th.crank.inrush_no_lead_v
    assert th.crank.interval_low < 1.0 < th.crank.interval_high
    assert 1.0 / th.crank.interval_least_s == 40.0  # compressions a second, as its meaning says
    assert th.crank.swings_regular < th.crank.swings_enough
    assert th.key.travel_s < th.key.travel_vague_s
    assert th.feed.brief_s < th.feed.steady_s
    assert th.evidence.rest_six_v < th.evidence.rest_low_v < th.evidence.rest_low_24v < th.evidence.rest_high_24v
    assert th.vehicle.recovery_from_s < th.vehicle.recovery_to_s
    assert th.evidence.battery_gone_v < th.evidence.rest_low_v
