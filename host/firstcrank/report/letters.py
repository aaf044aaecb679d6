"""Letters that the paper's fonts have, and those that they lack: each of these is replaced, and the paper says so."""

from __future__ import annotations

import functools
import unicodedata
from pathlib import Path

from firstcrank.errors import UsageError
from firstcrank.extras import extra_packages

IN_PLACE = "\N{WHITE VERTICAL RECTANGLE}"
MOST_NAMED = 6


def dejavu_folder() -> Path:
    """DejaVu Sans from matplotlib's own files: it has the letters of most languages of Europe and the Near East."""
    with extra_packages("report"):
        import matplotlib
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@functools.cache
def _font(path: Path) -> tuple[str, frozenset[int]]:
    with extra_packages("report"):
        from fontTools.ttLib import TTFont, TTLibError
    try:
        with TTFont(path, fontNumber=0, lazy=True) as font:
            family = font["name"].getBestFamilyName()
            return str(family), frozenset(font.getBestCmap() or ())
    except (OSError, TTLibError, KeyError) as error:
        raise UsageError(f"{path} cannot be used as a font: {error}") from error


class Letters:
    """What the fonts can show. `lacking` gathers what was replaced."""

    def __init__(self, shop_font: Path | None = None) -> None:
        """`shop_font`: used where DejaVu Sans lacks a letter. Raises UsageError where it is no font, MissingExtraError."""
        paths = [dejavu_folder() / "DejaVuSans.ttf", *([shop_font] if shop_font else [])]
        known = [_font(path) for path in paths]
        self.families = tuple(family for family, _ in known)
        self._has = frozenset().union(*(has for _, has in known))
        self.lacking: set[str] = set()

    def shown(self, text: str) -> str:
        """The text, a box in the place of each letter that no font has. Marks and joiners that show nothing are left out."""
        out = []
        for letter in text:
            if ord(letter) in self._has or letter in "\n\t":
                out.append(letter)
            elif unicodedata.category(letter) not in ("Cf", "Mn", "Me"):
                self.lacking.add(letter)
                out.append(IN_PLACE)
        return "".join(out)

    def line(self) -> str:
        """What was replaced, for the paper's end; empty where nothing was."""
        if not self.lacking:
            return ""
        named = [f"U+{ord(c):04X} {unicodedata.name(c, 'without a name').lower()}" for c in sorted(self.lacking)]
        more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
        return (
            f"{IN_PLACE} stands for letters that the font of this paper lacks: {', '.join(named[:MOST_NAMED])}{more}. "
            "The page on the screen shows them."
        )
