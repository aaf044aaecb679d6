"""firstcrank report: a start as a page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.errors import UsageError
from firstcrank.whole_file import whole_file


@click.command()
@click.argument("start")
@click.option("--html", type=click.Path(path_type=Path), help="HTML file to write. Default: first-start-NAME.html")
@click.option("--pdf", type=click.Path(path_type=Path), help="PDF file to write.")
@click.option("--png", type=click.Path(path_type=Path), help="Plot of the whole start as PNG.")
@click.option("--page", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper of the PDF.")
@click.option("--before", help="The start before the repair. Default: the job's last one marked so, for one marked after it.")
@STORE
def report(
    start: str, html: Path | None, pdf: Path | None, png: Path | None, page: str, before: str | None, place: str | None
) -> None:
    """Write the customer's page of START: a number in the record, or a recording file.

    Notes and photos stand on it where they were chosen: firstcrank jobs customer.

    \b
    Examples:
      firstcrank report start.fcr
      firstcrank report 12 --pdf start.pdf
    """
    from firstcrank.analysis.verdict import judge
    from firstcrank.limits import shipped
    from firstcrank.report import gather
    from firstcrank.report import html as page_of
    from firstcrank.report import pdf as paper_of
    from firstcrank.report.drawing import overview
    from firstcrank.report.plots import as_png, figure_of
    from firstcrank.tracefiles.table import load

    if start.isascii() and start.isdigit():
        with opened(place) as store:
            inputs = gather.from_store(store, start, before)
    else:
        if before is not None:
            raise UsageError("--before names a start of the record; for two files: firstcrank compare BEFORE AFTER --html FILE")
        path = Path(start)
        recording = load(path)
        inputs = gather.from_file(path, judge(recording.trace, recording.limits or shipped(12), recording.context), recording)
    if html is None and pdf is None and png is None:
        html = Path(f"first-start-{Path(start).stem}.html")
    made: list[tuple[Path | None, Callable[[], bytes]]] = [
        (html, lambda: page_of.render(inputs).encode("utf-8")),
        (pdf, lambda: paper_of.render(inputs, page)),
        (png, lambda: as_png(figure_of(overview(inputs.recording.trace, inputs.judgement)))),
    ]
    for target, make in made:
        if target is not None:
            content = make()
            with whole_file(target, replace=True) as file:
                file.write(content)
            say(str(target))
