"""The report as one HTML file: everything inside it, nothing fetched, every text escaped."""

from __future__ import annotations

import base64

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from firstcrank.printable import printable
from firstcrank.report import plots
from firstcrank.report.facts import CAUTIONS, MOST_CLOSE_UPS, TITLE, Facts, sentence
from firstcrank.report.summary import losses

LOGO_KINDS = ((b"\x89PNG", "image/png"), (b"\xff\xd8", "image/jpeg"))


def render(facts: Facts) -> str:
    """The page. Works for a judgement without a trace worth drawing as well."""
    trace, judgement = facts.recording.trace, facts.judgement
    environment = Environment(
        loader=PackageLoader("firstcrank.report", "."), autoescape=True, undefined=StrictUndefined, finalize=_shown
    )
    environment.filters["sentence"] = sentence
    lost = losses(judgement)
    drawable = len(trace) > 1
    minimum_v = facts.limits["module_minimum_v"]
    return environment.get_template("page.html.j2").render(
        title=TITLE,
        facts=facts,
        judgement=judgement,
        cautions=CAUTIONS,
        overview=Markup(plots.as_svg(plots.overview(trace, judgement))) if drawable else None,
        close_ups=[Markup(plots.as_svg(plots.close_up(trace, drop, minimum_v))) for drop in lost[:MOST_CLOSE_UPS]],
        more_dropouts=max(len(lost) - MOST_CLOSE_UPS, 0),
        logo=_logo(facts.shop_logo),
    )


def _shown(value: object) -> object:
    """What is put into the page: texts without control characters, our own drawings as they are."""
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _logo(content: bytes) -> str | None:
    for magic, kind in LOGO_KINDS:
        if content.startswith(magic):
            return f"data:{kind};base64,{base64.b64encode(content).decode()}"
    return None
