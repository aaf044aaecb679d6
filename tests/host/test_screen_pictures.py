"""The pictures in the docs are the tool's own screens of today."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from firstcrank.thresholds.visit import VISIT
from firstcrank.visit.steps import BURSTS_S

DOCS = Path(__file__).parents[2] / "docs"


def drawn() -> dict[str, str]:
    spec = importlib.util.spec_from_file_location("draw_screens", DOCS / "draw_screens.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    found: dict[str, str] = module.pictures()
    return found


def test_every_picture_is_as_the_tool_draws_it() -> None:
    pictures = drawn()
    assert {path.stem for path in (DOCS / "screens").glob("*.svg")} == set(pictures)
    for name, svg in pictures.items():
        assert (DOCS / "screens" / f"{name}.svg").read_text("utf-8") == svg, f"{name}: run python docs/draw_screens.py"


def test_the_tutorial_shows_every_picture() -> None:
    page = (DOCS / "first_start.md").read_text("utf-8")
    for name in drawn():
        assert f"screens/{name}.svg" in page, name


@pytest.mark.parametrize(
    "text", [*(f"{s:.0f} s" for s in BURSTS_S), f"{VISIT.oil_s:.0f} s", "never a hand or a rag", "not at the first cough"]
)
def test_the_page_to_print_has_the_tools_limits(text: str) -> None:
    assert text in (DOCS / "first_start_to_print.md").read_text("utf-8")
