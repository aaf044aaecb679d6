"""The report as one HTML file: everything inside it, nothing fetched, every text escaped.

Its own Content-Security-Policy (W3C CSP 3) allows no request at all, and no script and no style but those whose SHA-256 it names:
uPlot and zoom.js, which make a plot's detail larger. Without them the page shows the same pictures.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from firstcrank.printable import printable
from firstcrank.report.document import Figure, Part
from firstcrank.report.drawing import Drawing
from firstcrank.report.inputs import TITLE, ReportInputs
from firstcrank.report.pictures import data_url
from firstcrank.report.sections import document
from firstcrank.report.svg import as_svg
from firstcrank.role_properties import PROPERTIES

UPLOT = "uPlot-1.6.32"  # MIT, from the npm registry, as it came; its licence beside it


def render(inputs: ReportInputs) -> str:
    """The page of a start. Works for a judgement without a trace worth drawing as well."""
    return page(document(inputs), f"{TITLE} {inputs.job_number}".strip())


def page(parts: Sequence[Part], title: str) -> str:
    """Parts as a page."""
    environment = Environment(
        loader=PackageLoader("firstcrank.report", "."), autoescape=True, undefined=StrictUndefined, finalize=_shown
    )
    environment.filters.update(svg=_svg, phone_svg=_phone_svg, data_url=data_url, data=_data)
    zooms = any(isinstance(part, Figure) and part.detail for part in parts)
    script = _text(f"vendored/{UPLOT}.iife.min.js") + "\n" + _text("zoom.js") if zooms else ""
    style = _text("page.css").replace("/* leads */", _dark_leads()) + (_text(f"vendored/{UPLOT}.min.css") if zooms else "")
    return environment.get_template("page.html.j2").render(
        page_title=title,
        parts=[(type(part).__name__, part) for part in parts],
        style=Markup(style),
        script=Markup(script),
        policy=policy(style, script),
    )


def policy(style: str, script: str) -> str:
    """What the page may do: show its own pictures, style and script, and nothing else."""
    scripts = f"script-src {_hash(script)}" if script else "script-src 'none'"
    return f"default-src 'none'; img-src data:; style-src {_hash(style)}; {scripts}; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode()}'"


def _dark_leads() -> str:
    """The leads' lines on a dark screen."""
    return "\n  ".join(f"svg .l-{role} {{ stroke: {its.dark}; }}" for role, its in PROPERTIES.items())


def _text(name: str) -> str:
    return (files("firstcrank.report") / name).read_text("utf-8").replace("\r\n", "\n")


def _shown(value: object) -> object:
    """What is put into the page: texts without control characters, our own drawings as they are."""
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _svg(drawing: Drawing) -> Markup:
    return Markup(as_svg(drawing))


def _phone_svg(drawing: Drawing) -> Markup:
    return Markup(as_svg(drawing, phone=True))


def _data(detail: Mapping[str, object]) -> Markup:
    """JSON that cannot end its own element, whatever a name in it says."""
    return Markup(json.dumps(detail).replace("<", "\\u003c").replace("&", "\\u0026"))
