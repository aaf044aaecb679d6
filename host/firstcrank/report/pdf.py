"""The report as a PDF with ReportLab: same facts, same order as the page, no system libraries."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from firstcrank.printable import printable
from firstcrank.report import plots
from firstcrank.report.facts import CAUTIONS, MOST_CLOSE_UPS, TITLE, Facts, sentence
from firstcrank.report.summary import losses

PAGES = ("A4", "Letter")
MOST_LETTERS = 600  # in a cell of a table, which cannot go on over the end of a page


def _fonts() -> tuple[str, str]:
    """DejaVu Sans from matplotlib's own files, registered: it has the letters of most languages."""
    import matplotlib
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("Report", "DejaVuSans.ttf"), ("Report-Bold", "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    return "Report", "Report-Bold"


def render(facts: Facts, page: str = "A4") -> bytes:
    """PDF bytes on A4 or Letter."""
    from reportlab.lib import pagesizes
    from reportlab.lib.units import mm
    from reportlab.platypus import SimpleDocTemplate

    size = pagesizes.A4 if page == "A4" else pagesizes.LETTER
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer, pagesize=size, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=10 * mm, bottomMargin=10 * mm, title=TITLE
    )
    document.build(_Story(facts, document.width).parts())
    return buffer.getvalue()


def shortened(text: str) -> str:
    """A cell's text, cut where it would not fit a page."""
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - 2] + " …"


class _Story:
    """The flow of the document, part by part."""

    def __init__(self, facts: Facts, width: float) -> None:
        from reportlab.lib.styles import ParagraphStyle

        normal, bold = _fonts()
        self.facts, self.width, self.bold, self.normal = facts, width, bold, normal
        self.text = ParagraphStyle("text", fontName=normal, fontSize=8.5, leading=11, splitLongWords=True)
        self.small = ParagraphStyle("small", parent=self.text, fontSize=6.2, leading=7.4)
        self.title = ParagraphStyle("title", parent=self.text, fontName=bold, fontSize=15, leading=19)
        self.head = ParagraphStyle(
            "head", parent=self.text, fontName=bold, fontSize=10, leading=13, spaceBefore=5, keepWithNext=1
        )
        self.big = ParagraphStyle("big", parent=self.text, fontName=bold, fontSize=20, leading=25, alignment=1)
        self.part = ParagraphStyle("part", parent=self.text, fontName=bold, fontSize=11, leading=14, alignment=1)
        self.middle = ParagraphStyle("middle", parent=self.text, alignment=1)

    def p(self, text: str, style: Any = None) -> Any:
        """An escaped paragraph."""
        from reportlab.platypus import Paragraph

        return Paragraph(escape(printable(text)), style or self.text)

    def lines(self, texts: list[str], style: Any = None) -> list[Any]:
        """Paragraphs with a dash."""
        return [self.p("–  " + text, style) for text in texts]

    def table(self, rows: list[list[Any]], widths: list[float], style: Any = None) -> Any:
        """Cells as paragraphs, hair lines between rows."""
        from reportlab.lib import colors
        from reportlab.platypus import Table

        cells = [
            [self.p(shortened(cell), style or self.small) if isinstance(cell, str) else cell for cell in row] for row in rows
        ]
        return Table(
            cells,
            colWidths=[w * self.width for w in widths],
            style=[
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.grey),
                ("TOPPADDING", (0, 0), (-1, -1), 0.4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0.6),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ],
        )

    def picture(self, figure: Any) -> Any:
        """A plot over the whole width."""
        from reportlab.platypus import Image

        width_in, height_in = figure.get_size_inches()
        return Image(io.BytesIO(plots.as_png(figure, 200)), self.width, self.width * height_in / width_in)

    def verdict(self) -> Any:
        """The box."""
        from reportlab.lib import colors
        from reportlab.platypus import Table

        judgement = self.facts.judgement
        weight = 3.5 if judgement.verdict == "FAIL" else 1.5
        dash = (6, 3) if judgement.verdict == "NO VERDICT" else None
        rows = [[self.p(f"Key feed: {judgement.verdict}", self.big)]]
        if self.facts.other_fault:
            large = (f"Whole vehicle: {judgement.verdict}", self.facts.other_fault)
            rows = [[self.p(text, self.big)] for text in large]
            rows.append([self.p(f"Key feed: {judgement.feed.verdict}", self.part)])
        rows.append([self.p(self.facts.plain, self.middle)])
        return Table(rows, colWidths=[self.width], style=[("BOX", (0, 0), (-1, -1), weight, colors.black, None, dash)])

    def parts(self) -> list[Any]:
        """All parts in the page's order."""
        facts, judgement, trace = self.facts, self.facts.judgement, self.facts.recording.trace
        head = facts.head_rows()
        half = (len(head) + 1) // 2
        pairs = [
            [f"{a[0]}: {a[1]}", f"{b[0]}: {b[1]}" if b else ""] for a, b in zip(head[:half], [*head[half:], None], strict=False)
        ]
        parts: list[Any] = [self.p(TITLE + (f"   {facts.shop_name}" if facts.shop_name else ""), self.title)]
        if pairs:
            parts.append(self.table(pairs, [0.5, 0.5]))
        parts += [self.p("", self.small), self.verdict()]
        if facts.fault_lines():
            parts += [self.p("Other fault found", self.head), *self.lines(facts.fault_lines())]
        why = "Key feed" if facts.other_fault else "Why"
        parts += [self.p(why, self.head), *self.lines([sentence(r) for r in judgement.feed.reasons])]
        if judgement.tolerated:
            parts += [self.p("Tolerated", self.head), *self.lines([sentence(line) for line in judgement.tolerated])]
        parts += [self.p("What to check next", self.head), self.p(facts.next_check)]
        parts += self.lines([f"Caution: {line}" for line in judgement.cautions])
        parts += [self.p("What was tested and what was not", self.head)]
        parts += self.lines([f"Tested: {line}" for line in facts.tested()], self.small)
        parts += self.lines([f"Not tested: {line}" for line in judgement.not_measured], self.small)
        parts += self.lines([f"Taken as given: {line}" for line in judgement.assumptions], self.small)
        if facts.finding_rows():
            heads = ["Result", "What", "Measured", "± (95 %)", "Limit"]
            rows = [heads, *(list(row) for row in facts.finding_rows())]
            parts += [self.p("Findings", self.head), self.table(rows, [0.1, 0.54, 0.12, 0.12, 0.12])]
        if len(trace) > 1:
            parts += [self.p("The whole start", self.head), self.picture(plots.overview(trace, judgement))]
        lost = losses(judgement)
        if lost:
            parts.append(self.p("Each loss of the feed", self.head))
            minimum_v = facts.limits["module_minimum_v"]
            parts += [self.picture(plots.close_up(trace, drop, minimum_v)) for drop in lost[:MOST_CLOSE_UPS]]
        if judgement.likely_causes:
            parts.append(self.p(facts.cause_heading(), self.head))
            parts += self.lines([f"{c.evidence} (confidence {c.confidence:.0%})" for c in judgement.likely_causes[:3]])
        if facts.measurements or facts.notes:
            parts.append(self.p("Measured by hand, and notes", self.head))
            parts += self.lines([f"{m['what']}: {m['value']:g} {m['unit']}" for m in facts.measurements], self.small)
            parts += self.lines([str(n["text"]) for n in facts.notes], self.small)
        parts += [self.p("Cautions", self.head), *self.lines(list(CAUTIONS), self.small)]
        parts += [self.p("Board and calibration", self.head)]
        parts += [self.p("; ".join(f"{name}: {value}" for name, value in facts.board_rows()), self.small)]
        parts += [self.p("Limits and where they come from", self.head)]
        parts += [self.p(f"{facts.limits.name}. The engine maker's figure wins over any of these.", self.small)]
        parts += [self.table([list(row) for row in facts.limit_rows()], [0.42, 0.1, 0.48])]
        parts += [self.p(f"Recording SHA-256: {facts.content_hash}. Page made {facts.made}.", self.small)]
        return parts
