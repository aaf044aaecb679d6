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
    assert pytest.approx(th.key.turn_s * US) == load("quick_judge").TURN_US
    assert pytest.approx(th.key.rise_bounce_s * US) == load("feed_watch").RISE_US
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
