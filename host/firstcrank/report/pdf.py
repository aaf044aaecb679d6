"""The report as a PDF with Typst: the parts of the document as the page has them, tagged, no system libraries.

PDF/UA-1 (ISO 14289-1) is asked of Typst, which refuses to write a file that lacks a title, a language or a picture's words.
"""

from __future__ import annotations

import io
import json
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import as_file, files
from pathlib import Path
from typing import assert_never

from firstcrank.errors import UnwritableFileError
from firstcrank.extras import extra_packages
from firstcrank.printable import printable
from firstcrank.report.document import Annex, Box, Bullets, Figure, Heading, Pairs, Paragraph, Part, Photo, Rows, Title
from firstcrank.report.inputs import TITLE, ReportInputs
from firstcrank.report.letters import Letters, dejavu_folder
from firstcrank.report.pictures import suffix_of
from firstcrank.report.sections import document
from firstcrank.report.settings import shop
from firstcrank.report.svg import as_svg

PAPERS = {"A4": "a4", "Letter": "us-letter"}
LANGUAGE = "en"


def render(inputs: ReportInputs, page: str = "A4") -> bytes:
    """PDF bytes of a start's report. Raises as `paper`."""
    return paper(document(inputs), f"{TITLE} {inputs.job_number}".strip(), page, inputs.shop_name, shop().font)


def paper(parts: Sequence[Part], title: str, page: str = "A4", author: str = "", shop_font: Path | None = None) -> bytes:
    """PDF bytes on A4 or Letter. `shop_font`: for letters that DejaVu Sans lacks.

    Raises MissingExtraError without the extra `report`, UsageError for a font that is none.
    """
    with extra_packages("report"):
        import typst
    letters = Letters(shop_font)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shown = [_Paper(folder, letters).drawn(part) for part in parts]
        letters_line = letters.line()
        if letters_line:
            shown.append({"kind": "Paragraph", "text": letters_line, "small": True})
        values = {
            "title": letters.shown(printable(title)),
            "author": letters.shown(printable(author)),
            "lang": LANGUAGE,
            "paper": PAPERS[page],
            "fonts": letters.families,
            "parts": shown,
        }
        (folder / "doc.json").write_text(json.dumps(values), "utf-8")
        with as_file(files("firstcrank.report") / "paper.typ") as template:
            shutil.copyfile(template, folder / "paper.typ")
        fonts = [dejavu_folder(), *([shop_font.parent] if shop_font else [])]
        try:
            made = typst.compile(
                folder / "paper.typ",
                root=folder,
                font_paths=fonts,
                ignore_system_fonts=True,
                format="pdf",
                pdf_standards="ua-1",
            )
        except typst.TypstError as error:
            raise UnwritableFileError(f"the PDF cannot be made: {error.message}") from error
    assert isinstance(made, bytes)
    return made


class _Paper:
    """Each kind of part as values for paper.typ; pictures as files beside it."""

    def __init__(self, folder: Path, letters: Letters) -> None:
        self.folder, self.letters = folder, letters

    def drawn(self, part: Part) -> dict[str, object]:
        """One part."""
        kind = type(part).__name__
        match part:
            case Title():
                logo = self.file(part.logo, suffix_of(part.logo)) if _drawable(part.logo) else ""
                return {"kind": kind, **self.texts({"text": part.text, "shop_name": part.shop_name}), "logo": logo}
            case Figure():
                svg = as_svg(part.drawing, fonts=self.letters.families[0])
                alt = f"{part.drawing.title or 'Voltages over the whole start'}. {part.drawing.alt}"
                return {"kind": kind, "file": self.file(self.shown(svg).encode("utf-8"), ".svg"), "alt": self.shown(alt)}
            case Photo():
                if not _drawable(part.content):
                    return {
                        "kind": "Paragraph",
                        "text": self.shown(f"{part.caption} (this picture is damaged, or neither PNG nor JPEG)"),
                    }
                return {
                    "kind": kind,
                    "file": self.file(part.content, suffix_of(part.content)),
                    "caption": self.shown(part.caption),
                }
            case Pairs() | Box() | Heading() | Annex() | Paragraph() | Bullets() | Rows():
                return {"kind": kind, **self.texts(asdict(part))}
            case _:
                assert_never(part)

    def file(self, content: bytes, suffix: str) -> str:
        """A file beside the paper; its name."""
        name = f"picture{len(list(self.folder.iterdir()))}{suffix}"
        (self.folder / name).write_bytes(content)
        return name

    def shown(self, text: str) -> str:
        """Without control characters and without letters that the fonts lack."""
        return self.letters.shown("\n".join(printable(line) for line in text.split("\n")))

    def texts(self, values: dict[str, object]) -> dict[str, object]:
        """Every text in it as it can be shown."""
        return {name: self._value(value) for name, value in values.items()}

    def _value(self, value: object) -> object:
        if isinstance(value, str):
            return self.letters.shown(printable(value))
        return [self._value(item) for item in value] if isinstance(value, list | tuple) else value


def _drawable(content: bytes) -> bool:
    """Whether it is a whole PNG or JPEG: one that is damaged must not keep the paper from being made."""
    if not suffix_of(content):
        return False
    with extra_packages("report"):
        from PIL import Image
    try:
        with Image.open(io.BytesIO(content)) as picture:
            picture.load()
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):  # Pillow's for a damaged picture
        return False
    return True
