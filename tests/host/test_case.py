"""The printed case: closed bodies, the board fits without touching, the same bytes each time. Needs the extra `hardware`."""

from __future__ import annotations

import io
from typing import Any

import pytest
from hardware_notes.strip_board import PITCH_MM

pytest.importorskip("manifold3d", reason="no manifold3d here (extra `hardware`)")
trimesh: Any = pytest.importorskip("trimesh", reason="no trimesh here (extra `hardware`)")

from hardware_notes import case  # noqa: E402


@pytest.fixture(scope="module")
def bodies() -> dict[str, Any]:
    return {"tray": case.tray(), "lid": case.lid(), "board": case.board_as_fitted()}


@pytest.mark.parametrize("name", ["tray", "lid"])
def test_each_body_is_one_and_closed(bodies: dict[str, Any], name: str) -> None:
    body = bodies[name]
    assert body.is_watertight
    assert body.is_volume
    assert body.body_count == 1


@pytest.mark.parametrize(("one", "other"), [("tray", "board"), ("lid", "board"), ("tray", "lid")])
def test_nothing_touches_by_a_cubic_millimetre(bodies: dict[str, Any], one: str, other: str) -> None:
    assert case.common_mm3(bodies[one], bodies[other]) == 0.0


def test_a_board_half_a_wall_off_would_be_seen(bodies: dict[str, Any]) -> None:
    """The check can fail: the board 2 mm to the left or 1 mm down is in the walls or the standoffs."""
    for shift in ((-2.0, 0.0, 0.0), (0.0, 0.0, -1.0)):
        moved = bodies["board"].copy()
        moved.apply_translation(shift)
        assert case.common_mm3(bodies["tray"], moved) > 10.0


def test_the_openings_are_where_usb_and_leads_are(bodies: dict[str, Any]) -> None:
    """A plug of 12 x 8 mm goes through the wall to the module, a lead of 3 mm from the terminal out between tray and lid."""
    z = case.FLOOR + case.STANDOFF
    plug = case.block(3.5 * PITCH_MM - 6, -12, z + 7.0, 3.5 * PITCH_MM + 6, -2.5, z + 15.0)
    for name in ("tray", "lid"):
        assert case.common_mm3(bodies[name], plug) == 0.0
    for y in case.lead_rows():
        lead = case.block(101.0, y - 1.5, z + 2.4, 125.0, y + 1.5, z + 5.6)
        for name in ("tray", "lid"):
            assert case.common_mm3(bodies[name], lead) == 0.0, (name, y)


def test_the_same_bytes_each_time_and_closed_when_read_back() -> None:
    first = case.files()
    assert first == case.files()
    for data in first.values():
        assert trimesh.load(io.BytesIO(data), file_type="stl").is_watertight
