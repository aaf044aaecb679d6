"""A printed case for the board: tray and lid, USB opening, notches and tie posts that take a pull off the terminal.

python -m hardware_notes.case FOLDER     writes case_tray.stl and case_lid.stl (needs trimesh and manifold3d)

Millimetres. x and y as on the board's drawing (y down), z up from the tray's underside.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from trimesh.creation import box, cylinder

from hardware_notes.kicad_write.board import EDGE, HOLES_MM
from hardware_notes.strip_board import PITCH_MM, PLACED

WALL, FLOOR, ROOM = 2.4, 2.4, 0.8
BOARD_MM, STANDOFF, ABOVE = 1.6, 6.0, 20.0  # joints below the board; module on sockets above it
TOTAL = FLOOR + STANDOFF + BOARD_MM + ABOVE
USB_W, USB_H, LEAD_D, TIE_W = 14.0, 10.0, 4.0, 3.0
Mesh = Any


def block(x1: float, y1: float, z1: float, x2: float, y2: float, z2: float) -> Mesh:
    """A box from corner to corner."""
    return box(extents=(x2 - x1, y2 - y1, z2 - z1), transform=_at((x1 + x2) / 2, (y1 + y2) / 2, (z1 + z2) / 2))


def rod(x: float, y: float, z1: float, z2: float, diameter: float) -> Mesh:
    """An upright cylinder."""
    return cylinder(radius=diameter / 2, height=z2 - z1, sections=48, transform=_at(x, y, (z1 + z2) / 2))


def _at(x: float, y: float, z: float) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, 3] = (x, y, z)
    return matrix


def inside() -> tuple[float, float, float, float]:
    """Left, top, right, bottom of the room inside: the board, play, and a bay for the leads at the right."""
    left, top, right, bottom = EDGE
    return left - ROOM, top - ROOM, right + ROOM + 16.0, bottom + ROOM


def lead_rows() -> list[float]:
    """Heights (y) of the four leads at the terminal."""
    return [PLACED["J1"][pin][0] * PITCH_MM for pin in sorted(PLACED["J1"])]


def tray() -> Mesh:
    """Walls, floor, standoffs, a support under the module, notches and tie posts."""
    x1, y1, x2, y2 = inside()
    top_z = TOTAL
    body = trimesh.boolean.difference(
        [block(x1 - WALL, y1 - WALL, 0, x2 + WALL, y2 + WALL, top_z), block(x1, y1, FLOOR, x2, y2, top_z + 1)],
        engine="manifold",
    )
    board_z = FLOOR + STANDOFF
    adds = [rod(x, y, FLOOR - 0.5, board_z, 7.0) for x, y in HOLES_MM]
    adds.append(block(6.0, 50.0, FLOOR - 0.5, 12.0, y2 + 0.5, board_z))  # under the module's end: nothing sticks out there
    right = EDGE[2] + ROOM
    # Posts stand between the leads: each lead is tied to the post beside it.
    rows = lead_rows()
    adds += [
        block(right + 4.0, y - 0.9, FLOOR - 0.5, right + 12.0, y + 0.9, board_z + 6.0)
        for y in [r + PITCH_MM for r in rows[:-1]]
    ]
    body = trimesh.boolean.union([body, *adds], engine="manifold")
    usb_x = 3.5 * PITCH_MM
    cuts = [block(usb_x - USB_W / 2, y1 - WALL - 1, board_z + 6.0, usb_x + USB_W / 2, y1 + 1, board_z + 6.0 + USB_H)]
    cuts += [rod(x, y, -1, board_z + 1, 2.5) for x, y in HOLES_MM]  # self-tapping screws of 3 mm
    for y in rows:
        cuts.append(block(x2 - 1, y - LEAD_D / 2, board_z + 2.0, x2 + WALL + 1, y + LEAD_D / 2, top_z + 1))
    for y in [r + PITCH_MM for r in rows[:-1]]:
        cuts.append(block(right + 6.5, y - 2.0, board_z + 1.0, right + 6.5 + TIE_W, y + 2.0, board_z + 3.5))  # for a cable tie
    return trimesh.boolean.difference([body, *cuts], engine="manifold")


def lid() -> Mesh:
    """A plate with a lip inside the walls and teeth that close the leads' notches but for the leads."""
    x1, y1, x2, y2 = inside()
    z = TOTAL
    plate = block(x1 - WALL, y1 - WALL, z, x2 + WALL, y2 + WALL, z + 2.0)
    play = 0.25
    outer = block(x1 + play, y1 + play, z - 3.0, x2 - play, y2 - play, z + 0.5)
    lip = trimesh.boolean.difference([outer, block(x1 + 2, y1 + 2, z - 4, x2 - 2, y2 - 2, z + 1)], engine="manifold")
    teeth_z = FLOOR + STANDOFF + 2.0 + LEAD_D
    teeth = [block(x2 + play, y - LEAD_D / 2 + play, teeth_z, x2 + WALL, y + LEAD_D / 2 - play, z + 0.5) for y in lead_rows()]
    return trimesh.boolean.union([plate, lip, *teeth], engine="manifold")


def board_as_fitted() -> Mesh:
    """Board, module, terminal and joints as blocks where they stand in the tray."""
    left, top, right, bottom = EDGE
    z = FLOOR + STANDOFF
    plate = block(left, top, z, right, bottom, z + BOARD_MM)
    holes = [rod(x, y, z - 1, z + BOARD_MM + 1, 3.2) for x, y in HOLES_MM]
    plate = trimesh.boolean.difference([plate, *holes], engine="manifold")
    module = block(-1.6, -1.5, z + BOARD_MM - 0.1, 7 * PITCH_MM + 1.6, 19 * PITCH_MM + 1.4, z + BOARD_MM + 14.0)
    rows = lead_rows()
    terminal = block(
        37 * PITCH_MM - 4, rows[0] - 2.6, z + BOARD_MM - 0.1, 37 * PITCH_MM + 4.2, rows[-1] + 2.6, z + BOARD_MM + 11.0
    )
    joints = block(0.0, 0.0, z - 2.5, 30.0, 45.0, z + 0.1)
    return trimesh.boolean.union([plate, module, terminal, joints], engine="manifold")


def common_mm3(one: Mesh, other: Mesh) -> float:
    """Volume that two bodies share."""
    shared = trimesh.boolean.intersection([one, other], engine="manifold")
    return float(shared.volume) if len(shared.faces) else 0.0


def stl(mesh: Mesh) -> bytes:
    """The body as binary STL, coordinates to a thousandth, triangles in a fixed order: the same bytes each time."""
    triangles = np.round(np.asarray(mesh.triangles, dtype=np.float64), 3) + 0.0
    first = np.array([np.lexsort(t.T[::-1])[0] for t in triangles])
    turned = np.array([np.roll(t, -k, axis=0) for t, k in zip(triangles, first, strict=True)])
    order = np.lexsort(turned.reshape(len(turned), 9).T[::-1])
    return bytes(trimesh.exchange.stl.export_stl(trimesh.Trimesh(**trimesh.triangles.to_kwargs(turned[order]), process=False)))


def files() -> dict[str, bytes]:
    """File name to bytes."""
    return {"case_tray.stl": stl(tray()), "case_lid.stl": stl(lid())}


if __name__ == "__main__":
    for name, data in files().items():
        (Path(sys.argv[1]) / name).write_bytes(data)
