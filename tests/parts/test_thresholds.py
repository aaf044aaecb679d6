"""Every threshold with its value at 12 V and its unit, written down once more: no figure of the method changes unnoticed.

What is a voltage of the system ("V") doubles at 24 V, all else stays. Figures of the board's own state machine are those of its file.
"""

from __future__ import annotations

import pytest

from firstcrank.thresholds import rows, thresholds_for

# Voltages that are the same at 24 V, each with its reason.
SAME_AT_24_V = {
    "evidence.rest_low_24v": "is that of a 24 V system",
    "evidence.rest_high_24v": "is that of a 24 V system",
    "evidence.rest_six_v": "tells a 6 V vehicle",
    "evidence.rest_below_zero_v": "a reversed lead reads the board's lowest, whatever the system",
    "evidence.step_dead_v": "a dead lead reads near zero, whatever the system",
}

TABLE: dict[str, dict[str, tuple[float, str]]] = {
    "crank": {
        "coil_live_v": (3.0, "V"),
        "coil_live_share": (0.4, ""),
        "coil_join_s": (0.2, "s"),
        "coil_shortest_s": (0.05, "s"),
        "sag_least_v": (0.2, "V"),
        "sag_no_lead_v": (1.3, "V"),
        "inrush_of_sag": (2.3, ""),
        "maybe_sag_v": (1.0, "V"),
        "inrush_no_lead_v": (1.5, "V"),
        "sag_begin_v": (0.25, "V"),
        "inrush_v": (0.7, "V"),
        "inrush_s": (0.06, "s"),
        "inrush_deepest_s": (0.12, "s"),
        "inrush_deepest_share": (0.75, ""),
        "level_s": (0.3, "s"),
        "settle_s": (0.12, "s"),
        "grid_hz": (400.0, "Hz"),
        "smooth_s": (0.0075, "s"),
        "swing_least_v": (0.03, "V"),
        "swing_share": (0.25, ""),
        "swing_of_sag": (0.015, ""),
        "swing_raw_share": (0.3, ""),
        "swings_made_share": (0.6, ""),
        "swings_regular": (3.0, ""),
        "swings_enough": (5.0, ""),
        "interval_low": (0.55, ""),
        "interval_high": (1.7, ""),
        "first_low_s": (0.5, "s"),
        "interval_least_s": (0.025, "s"),
        "interval_most_s": (0.55, "s"),
        "step_s": (0.005, "s"),
        "step_share": (0.62, ""),
        "release_share": (0.55, ""),
        "release_least_v": (0.18, "V"),
        "release_of_sag": (0.1, ""),
        "coil_on_before_s": (0.06, "s"),
        "like_starter_s": (0.6, "s"),
        "maybe_inrush_of_sag": (1.3, ""),
        "maybe_rhythm_share": (0.5, ""),
        "coarsest_s": (0.03, "s"),
    },
    "key": {
        "dead_least_s": (0.05, "s"),
        "blip_dead_s": (0.05, "s"),
        "settle_s": (0.05, "s"),
        "rise_bounce_s": (0.1, "s"),
        "live_before_s": (0.2, "s"),
        "fall_most_s": (0.5, "s"),
        "fall_step_v": (0.5, "V"),
        "fall_rise_v": (0.6, "V"),
        "fall_bounce_s": (0.01, "s"),
        "off_between_s": (0.65, "s"),
        "off_before_s": (0.5, "s"),
        "travel_s": (0.15, "s"),
        "travel_vague_s": (0.3, "s"),
        "late_relay_s": (0.02, "s"),
        "early_start_s": (0.005, "s"),
        "turn_s": (0.3, "s"),
        "release_s": (0.3, "s"),
    },
    "feed": {
        "trigger_near_v": (0.01, "V"),
        "merged_s": (0.00015, "s"),
        "merged_share": (0.5, ""),
        "short_most": (20.0, ""),
        "unexplained_share": (0.15, ""),
        "opening_v": (1.0, "V"),
        "input_s": (6e-05, "s"),
        "steady_s": (0.5, "s"),
        "brief_s": (0.01, "s"),
        "above_source_v": (0.3, "V"),
        "follows_share": (0.05, ""),
        "graze_bins": (1.0, ""),
    },
    "evidence": {
        "rest_low_v": (8.0, "V"),
        "rest_high_v": (16.5, "V"),
        "rest_low_24v": (18.0, "V"),
        "rest_high_24v": (32.0, "V"),
        "rest_six_v": (5.0, "V"),
        "rest_below_zero_v": (-0.5, "V"),
        "same_battery_v": (0.3, "V"),
        "edge_from": (0.1, ""),
        "edge_share": (0.5, ""),
        "edge_rows": (2.0, ""),
        "battery_gone_v": (2.5, "V"),
        "step_v": (0.4, "V"),
        "step_alike": (0.25, ""),
        "step_lasts_s": (0.02, "s"),
        "step_dead_v": (0.6, "V"),
        "step_clear_s": (0.3, "s"),
        "same_point_v": (0.03, "V"),
        "full_scale_share": (0.998, ""),
        "least_bins": (10.0, ""),
        "hole_slack_s": (0.002, "s"),
    },
    "running": {
        "takeover_s": (0.08, "s"),
        "takeover_share": (0.3, ""),
        "takeover_step": (0.5, ""),
        "quiet_share": (0.4, ""),
        "charged_v": (13.0, "V"),
        "charged_above_rest_v": (0.3, "V"),
        "charged_within_s": (6.0, "s"),
        "charged_share": (0.9, ""),
        "contradicts_s": (1.0, "s"),
    },
    "vehicle": {
        "crank_settle_s": (0.2, "s"),
        "crank_leave_s": (0.05, "s"),
        "recovery_from_s": (1.5, "s"),
        "recovery_to_s": (2.0, "s"),
        "recovery_low_v": (0.4, "V"),
        "charging_watch_s": (60.0, "s"),
        "charging_late_s": (2.0, "s"),
        "heater_live_v": (2.5, "V"),
        "heater_open_s": (0.25, "s"),
        "heater_least_s": (0.05, "s"),
        "control_first_s": (0.06, "s"),
        "off_quiet_s": (0.3, "s"),
    },
    "tracker": {
        "off_seen_s": (0.4, "s"),
        "on_seen_s": (0.4, "s"),
        "live_before_s": (0.2, "s"),
        "again_s": (1.0, "s"),
        "crank_seen_s": (0.12, "s"),
        "release_seen_s": (0.25, "s"),
        "extra_s": (0.3, "s"),
        "level_s": (0.3, "s"),
        "inrush_s": (0.15, "s"),
        "swings_least": (6.0, ""),
        "creep_s": (30.0, "s"),
        "off_wait_s": (60.0, "s"),
        "recover_v": (0.5, "V"),
        "turn_sag_v": (0.3, "V"),
        "ripple_v": (0.04, "V"),
        "charged_v": (13.2, "V"),
        "ground_rise_v": (0.1, "V"),
    },
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
