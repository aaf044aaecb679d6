"""Roles are written once: the board's program reads the host's very list, and the host's properties cover it."""

from __future__ import annotations

import re

from firstcrank import roles
from firstcrank.board.files import firmware_folder
from firstcrank.calibration import read_calibration
from firstcrank.role_properties import PROPERTIES
from firstcrank.roles import REQUIRED_ROLES, ROLES
from firstcrank_sim.board.firmware_program import load


def test_the_board_reads_the_hosts_own_list() -> None:
    assert load("commands").ROLES is roles.ROLES
    lists = [
        path.name
        for path in firmware_folder().rglob("*.py")
        if len(set(re.findall(r'"(\w+)"', path.read_text("utf-8"))) & set(ROLES)) > 6
    ]
    assert lists == [], "another list of roles"


def test_every_role_has_properties_and_lines_that_differ_in_grey() -> None:
    assert set(PROPERTIES) == set(ROLES)
    assert set(REQUIRED_ROLES) <= set(ROLES)
    assert len({own.dashes for own in PROPERTIES.values()}) == len(ROLES)


def test_the_shipped_calibration_covers_every_role() -> None:
    from importlib import resources

    with resources.as_file(resources.files("firstcrank") / "data" / "calibration_minimal_12v.toml") as path:
        assert set(read_calibration(path).channels) == set(ROLES)
