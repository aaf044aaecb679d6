"""The numbers that the board decides by on its own are the judge's: written in its program, they are held against the tables."""

from __future__ import annotations

import pytest

from firstcrank import start_tracker
from firstcrank.board.alone import alone_table, mean16, step16
from firstcrank.limits import shipped
from firstcrank.thresholds import thresholds_for
from firstcrank.wire_bodies import ChannelBody
from firstcrank_sim.board.converter import sim_calibration
from firstcrank_sim.board.firmware_program import load

US = 1e6


def test_times_in_the_boards_program_are_the_judges() -> None:
    th = thresholds_for(12)
    judge, watch, armed = load("quick_judge"), load("feed_watch"), load("armed")
    assert pytest.approx(th.key.turn_s * US) == judge.TURN_US
    assert pytest.approx(th.key.release_s * US) == judge.RELEASE_US
    assert pytest.approx(th.key.travel_s * US) == judge.TRAVEL_US
    assert pytest.approx(th.key.travel_vague_s * US) == judge.VAGUE_US
    assert pytest.approx(th.key.late_relay_s * US) == judge.LATE_US
    assert pytest.approx(th.key.early_start_s * US) == judge.EARLY_US
    assert pytest.approx(th.crank.coil_on_before_s * US) == judge.NO_LEAD_US
    assert pytest.approx(th.edges.nearly * 100) == judge.NEARLY
    assert judge.TOP_CODE <= th.evidence.full_scale_share * 4095 < judge.TOP_CODE + 1
    assert th.tracker.board_bounds_bins == judge.BOUNDS_BINS
    assert th.tracker.board_drop_bins == judge.DROP_BINS
    assert pytest.approx(th.key.rise_bounce_s * US) == watch.RISE_US
    assert pytest.approx(th.tracker.board_hidden_share) == 1 / watch.HIDDEN
    assert pytest.approx(th.tracker.armed_sag_share) == armed.SAG_NUMERATOR / armed.SAG_DENOMINATOR
    assert th.tracker.armed_blocks == armed.SLOW
    assert 16 * th.tracker.armed_least_code == armed.LEAST_REST
    assert pytest.approx(th.key.live_before_s * US) == start_tracker.LIVE_BEFORE_US
    assert pytest.approx(th.crank.level_s * US) == start_tracker.LEVEL_US


@pytest.mark.parametrize("system_v", [12, 24])
def test_voltages_in_the_boards_table_are_the_judges(system_v: int) -> None:
    calibration, th = sim_calibration(system_v), thresholds_for(system_v)
    channels: list[ChannelBody] = [
        {"role": role, "pin": 26 + n} for n, role in enumerate(("battery", "key_switch", "starter_coil"))
    ]
    table = alone_table(shipped(system_v), calibration, channels)
    battery, coil = calibration.channel("battery"), calibration.channel("starter_coil")
    assert table["sag16"] == step16(battery, th.crank.inrush_v)
    assert table["coil_live16"] == mean16(coil, th.crank.coil_live_v)
    assert table["battery_gone16"] == mean16(battery, th.evidence.battery_gone_v)
    assert table["recover16"] == step16(battery, th.tracker.recover_v)
    low_v = th.evidence.rest_low_v if system_v == 12 else th.evidence.rest_low_24v
    assert table["rest_low16"] == mean16(battery, low_v)
