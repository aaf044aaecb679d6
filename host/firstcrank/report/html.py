"""The report as one HTML file: everything inside it, nothing fetched, every text escaped."""

from __future__ import annotations

import base64

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from firstcrank.printable import printable
from firstcrank.report.drawing import Drawing
from firstcrank.report.inputs import TITLE, ReportInputs
from firstcrank.report.sections import document
from firstcrank.report.svg import as_svg

LOGO_KINDS = ((b"\x89PNG", "image/png"), (b"\xff\xd8", "image/jpeg"))


def render(inputs: ReportInputs) -> str:
    """The page. Works for a judgement without a trace worth drawing as well."""
    environment = Environment(
        loader=PackageLoader("firstcrank.report", "."), autoescape=True, undefined=StrictUndefined, finalize=_shown
    )
    environment.filters["svg"] = _svg
    environment.filters["data_url"] = _data_url
    return environment.get_template("page.html.j2").render(
        page_title=f"{TITLE} {inputs.job_number}".strip(),
        parts=[(type(part).__name__, part) for part in document(inputs)],
    )


def _shown(value: object) -> object:
    """What is put into the page: texts without control characters, our own drawings as they are."""
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _svg(drawing: Drawing) -> Markup:
    return Markup(as_svg(drawing))


def _data_url(content: bytes) -> str:
    """Empty for what is neither PNG nor JPEG."""
    for magic, kind in LOGO_KINDS:
        if content.startswith(magic):
            return f"data:{kind};base64,{base64.b64encode(content).decode()}"
    return ""
