"""firstcrank compare: before and after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.errors import UsageError
from firstcrank.whole_file import whole_file

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.analysis.compare import Comparison
    from firstcrank.report.before_after import Side
    from firstcrank.trace import FloatArray

OUT = click.Path(path_type=Path)


@click.command()
@click.argument("first")
@click.argument("second")
@click.option("--html", type=OUT, help="The comparison as a page.")
@click.option("--pdf", type=OUT, help="The comparison as a PDF.")
@click.option("--png", type=OUT, help="Plot: one above the other, and the difference.")
@click.option("--page", "paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper of the PDF.")
@STORE
def compare(
    first: str, second: str, html: Path | None, pdf: Path | None, png: Path | None, paper: str, place: str | None
) -> None:
    """Compare two starts crank by crank: numbers in the record (12, or 12#2 for its second crank) or recording files.

    Where a crank is named, its own result counts, not that of the whole recording.

    \b
    Examples:
      firstcrank compare before.fcr after.fcr
      firstcrank compare 12#1 12#2 --html repair.html
    """
    from firstcrank.analysis.compare import compare as side_by_side
    from firstcrank.cli.screen import Screen

    one, two = _load(first, place), _load(second, place)
    try:
        compared = side_by_side((one.trace, one.judgement), (two.trace, two.judgement), (one.which, two.which))
    except ValueError as error:
        raise UsageError(str(error)) from error
    console = Screen()
    _results(console, one, two)
    _curves(console, compared, one, two)
    _table(console, one, two)
    _write(one, two, compared, ((html, "html"), (pdf, paper), (png, "png")))


def _results(console: Console, one: Side, two: Side) -> None:
    from rich.text import Text

    from firstcrank.report.before_after import crank_lines

    console.print(Text(f"Result: {one.result} in {one.name}, {two.result} in {two.name}", style="bold"))
    for side in (one, two):
        if side.crank is not None:
            console.print(f"The whole recording {side.name.partition('#')[0]}: {side.judgement.verdict}")
    if max(len(side.judgement.cranks) for side in (one, two)) > 1:
        for side in dict.fromkeys((one, two)) if one.trace is not two.trace else (one,):
            for line in crank_lines(side.judgement):
                console.print(f"{side.name.partition('#')[0]}, {line}")


def _curves(console: Console, compared: Comparison, one: Side, two: Side) -> None:
    from rich.text import Text

    from firstcrank.cli.strip import row
    from firstcrank.thresholds.evidence import EVIDENCE

    width = max(console.width - 34, 20)
    top_v = 28.0 if (compared.before_v["battery"] > EVIDENCE.system_split_v).any() else 14.0
    for role in compared.before_v:
        for name, side in ((one.name, compared.before_v), (two.name, compared.after_v)):
            console.print(
                Text(f"{role.replace('_', ' '):<14}{Path(name).name[:14]:<15} {row(_squeezed(side[role], width), top_v)}")
            )


def _table(console: Console, one: Side, two: Side) -> None:
    from rich.table import Table
    from rich.text import Text

    from firstcrank.report.before_after import cell
    from firstcrank.report.changes import SAME, changes

    table = Table(box=None, pad_edge=False)
    for heading in ("check", one.name, two.name, "change"):
        table.add_column(Text(heading), overflow="fold")
    found = changes(one.judgement, two.judgement, (one.which, two.which))
    changed = [c for c in found if c.difference_text != SAME]
    for change in changed:
        table.add_row(*(Text(c) for c in (change.name, cell(change.before), cell(change.after), change.difference_text)))
    if changed:
        console.print(table)
    console.print(f"{len(found) - len(changed)} other checks say the same in both.")


def _write(one: Side, two: Side, compared: Comparison, targets: tuple[tuple[Path | None, str], ...]) -> None:
    """Each file that was asked for, whole or not at all."""
    for target, kind in targets:
        if target is not None:
            content = _content(one, two, compared, kind)
            with whole_file(target, replace=True) as file:
                file.write(content)
            say(str(target))


def _content(one: Side, two: Side, compared: Comparison, kind: str) -> bytes:
    from firstcrank.report.before_after import TITLE, document
    from firstcrank.report.settings import shop

    owner = shop()
    title = f"{TITLE}: {one.name}, {two.name}"
    if kind == "png":
        from firstcrank.report.plots import as_png, comparison

        return as_png(comparison(compared, (f"{one.name}: {one.result}", f"{two.name}: {two.result}")))
    parts = document(one, two, owner.name, owner.logo)
    if kind == "html":
        from firstcrank.report.html import page

        return page(parts, title).encode("utf-8")
    from firstcrank.report.pdf import paper

    return paper(parts, title, kind, owner.name, owner.font)


def _load(name: str, place: str | None) -> Side:
    """A start, or one crank of it. A start that was judged before findings were told crank by crank is judged again."""
    import json

    from firstcrank.analysis.as_json import from_table
    from firstcrank.analysis.verdict import judge
    from firstcrank.jobs.recordings import recording_of
    from firstcrank.jobs.records import find_start
    from firstcrank.limits import Limits, shipped
    from firstcrank.report.before_after import Side
    from firstcrank.report.changes import crank_result
    from firstcrank.tracefiles.table import load

    number, mark, _ = name.partition("#")
    if number.isascii() and number.isdigit():
        with opened(place) as store:
            start, crank = find_start(store, name)
            recording = recording_of(store, start)
        judgement = from_table(json.loads(start["judgement_json"]))
        if mark and judgement.cranks and all(crank_result(judgement, n) is None for n in range(1, len(judgement.cranks) + 1)):
            say(f"start {number} was filed without findings of each crank: judged again, with the limits it was filed with")
            judgement = judge(recording.trace, Limits.from_json(json.loads(start["limits_json"])), recording.context)
        return Side(name, recording.trace, judgement, crank if mark else None)
    path, mark, crank_text = name.rpartition("#")
    if not mark or not (crank_text.isascii() and crank_text.isdigit() and len(crank_text) < 5):
        path, crank_text = name, ""  # a name may hold the sign itself
    recording = load(Path(path))
    judgement = judge(recording.trace, recording.limits or shipped(12), recording.context)
    return Side(name, recording.trace, judgement, int(crank_text) if crank_text else None)


def _squeezed(volts: FloatArray, width: int) -> FloatArray:
    import numpy as np

    values = np.nan_to_num(np.asarray(volts, dtype=np.float64), nan=0.0)
    group = max(len(values) // width, 1)
    squeezed: FloatArray = values[: len(values) // group * group].reshape(-1, group).min(axis=1)
    return squeezed
