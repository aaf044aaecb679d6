"""The edge at which text enters a rich screen: nothing that a board, a file or a job says can steer the terminal from here on.

Text is text: no markup, no emoji codes, and every control character becomes a visible sign (printable.py).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import IO, Literal

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from firstcrank.printable import printable

ColorSystem = Literal["auto", "standard", "256", "truecolor", "windows"]


class Screen(Console):
    """A rich console that shows text as it is. Styles come from Text and table arguments, never from the text itself."""

    def __init__(
        self,
        file: IO[str] | None = None,
        width: int | None = None,
        force_terminal: bool | None = None,
        color_system: ColorSystem | None = "auto",
    ) -> None:
        super().__init__(
            file=file,
            width=width,
            force_terminal=force_terminal,
            color_system=color_system,
            highlight=False,
            markup=False,
            emoji=False,
        )

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Segments with every control character but the ends of lines made visible; the console's own controls pass."""
        for segment in super().render(renderable, options):
            yield segment if segment.control or segment.text == "\n" else Segment(_lines(segment.text), segment.style)


def _lines(text: str) -> str:
    return text if text.isprintable() else "\n".join(printable(line) for line in text.split("\n"))
