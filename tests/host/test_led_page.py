"""The page of LED states is the firmware's: the picture is redrawn, the table names every pattern."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from firstcrank_sim.board.firmware_program import load

DOCS = Path(__file__).parents[2] / "docs"


def test_the_picture_and_the_table_are_the_firmwares() -> None:
    spec = importlib.util.spec_from_file_location("draw_led", DOCS / "draw_led.py")
    assert spec is not None
    assert spec.loader is not None
    draw = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(draw)
    assert (DOCS / "led.svg").read_text(encoding="utf-8") == draw.svg()
    shown = {name.removesuffix(", not kept") for name, _, _ in draw.STATES}
    assert shown == set(load("lamp").PATTERNS)
    page = (DOCS / "led.md").read_text(encoding="utf-8")
    assert all(seen in page for _, seen, _ in draw.STATES if "outcome" not in seen)


def test_no_two_patterns_look_alike() -> None:
    """Over six seconds, to a tenth of a second, wherever one begins to look."""
    spec = importlib.util.spec_from_file_location("draw_led", DOCS / "draw_led.py")
    assert spec is not None
    assert spec.loader is not None
    draw = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(draw)
    seen = {}
    for name in load("lamp").PATTERNS:
        on = tuple(sorted(round((end - begin) / 100) for begin, end in draw.spans(draw.times(name))[1:-1]))
        seen[name] = (on, len(draw.spans(draw.times(name))))
    assert len(set(seen.values())) == len(seen)
