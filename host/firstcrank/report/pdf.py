"""The report as a PDF with ReportLab: the parts of the document as the page has them, no system libraries."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, assert_never
from xml.sax.saxutils import escape

from firstcrank.extras import extra_packages
from firstcrank.printable import printable
from firstcrank.report.document import Box, Bullets, Figure, Heading, Pairs, Paragraph, Part, Rows, Title
from firstcrank.report.inputs import TITLE, ReportInputs
from firstcrank.report.sections import document

if TYPE_CHECKING:
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Flowable

MOST_LETTERS = 600  # in one cell: a longer text goes on in a row of its own, because a cell cannot go on over the page's end
LOGO_HEIGHT_PT = 34.0
LOGO_WIDTH_PT = 100.0


def render(inputs: ReportInputs, page: str = "A4") -> bytes:
    """PDF bytes on A4 or Letter. Raises MissingExtraError without the extra `report`."""
    with extra_packages("report"):
        from reportlab.lib import pagesizes
        from reportlab.lib.units import mm
        from reportlab.platypus import SimpleDocTemplate

    size = pagesizes.A4 if page == "A4" else pagesizes.LETTER
    buffer = io.BytesIO()
    paper = SimpleDocTemplate(
        buffer, pagesize=size, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=10 * mm, bottomMargin=10 * mm, title=TITLE
    )
    paper.build(_Story(paper.width).of(document(inputs)))
    return buffer.getvalue()


def _fonts() -> tuple[str, str]:
    """DejaVu Sans from matplotlib's own files, registered: it has the letters of most languages."""
    with extra_packages("report"):
        import matplotlib
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("Report", "DejaVuSans.ttf"), ("Report-Bold", "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    return "Report", "Report-Bold"


class _Story:
    """Draws each kind of part as ReportLab flowables."""

    def __init__(self, width: float) -> None:
        from reportlab.lib.styles import ParagraphStyle

        normal, bold = _fonts()
        self.width = width
        self.text = ParagraphStyle("text", fontName=normal, fontSize=8.5, leading=11, splitLongWords=True)
        self.small = ParagraphStyle("small", parent=self.text, fontSize=6.2, leading=7.4)
        self.small_bold = ParagraphStyle("small bold", parent=self.small, fontName=bold)
        self.title = ParagraphStyle("title", parent=self.text, fontName=bold, fontSize=15, leading=19)
        self.head = ParagraphStyle(
            "head", parent=self.text, fontName=bold, fontSize=10, leading=13, spaceBefore=5, keepWithNext=1
        )
        self.big = ParagraphStyle("big", parent=self.text, fontName=bold, fontSize=20, leading=25, alignment=1)
        self.part = ParagraphStyle("part", parent=self.text, fontName=bold, fontSize=11, leading=14, alignment=1)
        self.middle = ParagraphStyle("middle", parent=self.text, alignment=1)

    def of(self, parts: tuple[Part, ...]) -> list[Flowable]:
        """All parts in order."""
        return [flowable for part in parts for flowable in self.drawn(part)]

    def drawn(self, part: Part) -> list[Flowable]:
        """One part."""
        match part:
            case Title():
                return self.top(part)
            case Pairs():
                return self.pairs(part)
            case Box():
                return [self.p("", self.small), self.box(part)]
            case Heading():
                return [self.p(part.text, self.head)]
            case Paragraph():
                return [self.p(part.text, self.small if part.small else self.text)]
            case Bullets():
                style = self.small if part.small else self.text
                return [self.p("–  " + line, style) for line in part.lines]
            case Rows():
                return [self.rows(part)]
            case Figure():
                return [self.picture(part)]
            case _:
                assert_never(part)

    def p(self, text: str, style: ParagraphStyle) -> Flowable:
        """An escaped paragraph."""
        from reportlab.platypus import Paragraph as TextBlock

        return TextBlock(escape(printable(text)), style)

    def top(self, part: Title) -> list[Flowable]:
        """Title and shop, the logo to the right."""
        heading = self.p(part.text + (f"   {part.shop_name}" if part.shop_name else ""), self.title)
        logo = _logo(part.logo)
        if logo is None:
            return [heading]
        from reportlab.platypus import Table

        widths = [self.width - LOGO_WIDTH_PT, LOGO_WIDTH_PT]
        return [Table([[heading, logo]], colWidths=widths, style=[("ALIGN", (1, 0), (1, 0), "RIGHT")])]

    def pairs(self, part: Pairs) -> list[Flowable]:
        """Two columns, filled one after the other."""
        half = (len(part.rows) + 1) // 2
        cells = [f"{name}: {value}" for name, value in part.rows]
        cells += [""] * (2 * half - len(cells))
        return [self.rows(Rows(tuple(zip(cells[:half], cells[half:], strict=True)), (0.5, 0.5)))]

    def box(self, part: Box) -> Flowable:
        """The verdict in its frame: heavy for FAIL, dashed for NO VERDICT."""
        from reportlab.lib import colors
        from reportlab.platypus import Table

        weight = 3.5 if part.verdict == "FAIL" else 1.5
        dash = (6, 3) if part.verdict == "NO VERDICT" else None
        large = (f"{part.label}: {part.large[0]}", *part.large[1:])
        rows = [[self.p(line, self.big)] for line in large]
        if part.part:
            rows.append([self.p(part.part, self.part)])
        rows.append([self.p(part.text, self.middle)])
        return Table(rows, colWidths=[self.width], style=[("BOX", (0, 0), (-1, -1), weight, colors.black, None, dash)])

    def rows(self, part: Rows) -> Flowable:
        """Cells as paragraphs, hair lines between rows."""
        from reportlab.lib import colors
        from reportlab.platypus import Table

        cells = [[self.p(head, self.small) for head in part.heads]] if part.heads else []
        for number, row in enumerate(part.rows):
            style = self.small_bold if number in part.bold else self.small
            cells += [[self.p(cell, style) for cell in piece] for piece in _pieces(row)]
        return Table(
            cells,
            colWidths=[share * self.width for share in part.widths],
            style=[
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.grey),
                ("TOPPADDING", (0, 0), (-1, -1), 0.4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0.6),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ],
        )

    def picture(self, part: Figure) -> Flowable:
        """A drawing over the whole width."""
        from reportlab.platypus import Image

        from firstcrank.report.plots import as_png, figure_of

        drawing = part.drawing
        picture = io.BytesIO(as_png(figure_of(drawing), 200))
        return Image(picture, self.width, self.width * drawing.height_in / drawing.width_in)


def _pieces(row: tuple[str, ...]) -> list[tuple[str, ...]]:
    """A row as one or more, so that no cell is longer than a page holds."""
    count = max((len(cell) - 1) // MOST_LETTERS + 1 for cell in row) if any(row) else 1
    return [tuple(cell[n * MOST_LETTERS : (n + 1) * MOST_LETTERS] for cell in row) for n in range(count)]


def _logo(content: bytes) -> Flowable | None:
    """The shop's logo within its corner; None where there is none that can be drawn."""
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Image

    if not content:
        return None
    try:
        width, height = ImageReader(io.BytesIO(content)).getSize()
    except OSError:  # ReportLab's for bytes that are no picture
        return None
    scale = min(LOGO_WIDTH_PT / width, LOGO_HEIGHT_PT / height)
    return Image(io.BytesIO(content), width * scale, height * scale)
