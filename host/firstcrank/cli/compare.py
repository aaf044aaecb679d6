"""firstcrank compare: before and after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import opened
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.model.judgement import Judgement
    from firstcrank.trace import FloatArray, Trace


@click.command()
@click.argument("first")
@click.argument("second")
@click.option("--png", type=click.Path(path_type=Path), help="Plot: one above the other, and the difference.")
@click.option("--store", "place", envvar="FIRSTCRANK_STORE", help="Record store.")
def compare(first: str, second: str, png: Path | None, place: str | None) -> None:
    """Compare two starts crank by crank: numbers in the record (12, or 12#2 for its second crank) or recording files.

    \b
    Examples:
      firstcrank compare before.fcr after.fcr
      firstcrank compare 12#1 12#2
    """
    from rich.table import Table
    from rich.text import Text

    from firstcrank.analysis.compare import compare as side_by_side
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.strip import row
    from firstcrank.report.changes import SAME, changes, crank_result
    from firstcrank.report.inputs import RESULT_LABELS

    (one, crank_one), (two, crank_two) = _load(first, place), _load(second, place)
    try:
        compared = side_by_side(one, two, (crank_one, crank_two))
    except ValueError as error:
        raise UsageError(str(error)) from error
    console = Screen()
    console.print(Text(f"Overall: {_verdict(one[1])} in {first}, {_verdict(two[1])} in {second}", style="bold"))
    results = [crank_result(j, which) for (_, j), which in ((one, crank_one), (two, crank_two))]
    if (len(one[1].cranks) > 1 or len(two[1].cranks) > 1) and None not in results:
        labels = [RESULT_LABELS[r] for r in results if r is not None]
        console.print(
            f"Feed and supply in crank {crank_one} of {first}: {labels[0]}; in crank {crank_two} of {second}: {labels[1]}"
        )
    width = max(console.width - 34, 20)
    top_v = 28.0 if (compared.before_v["battery"] > 17).any() else 14.0
    for role in compared.before_v:
        for name, side in ((first, compared.before_v), (second, compared.after_v)):
            console.print(
                Text(f"{role.replace('_', ' '):<14}{Path(name).name[:14]:<15} {row(_squeezed(side[role], width), top_v)}")
            )
    table = Table(box=None, pad_edge=False)
    for heading in ("check", first, second, "change"):
        table.add_column(Text(heading), overflow="fold")
    found = changes(one[1], two[1], (crank_one, crank_two))
    changed = [c for c in found if c.difference_text != SAME]
    for change in changed:
        cells = (change.name, _cell(change.before), _cell(change.after), change.difference_text)
        table.add_row(*(Text(c) for c in cells))
    if changed:
        console.print(table)
    console.print(f"{len(found) - len(changed)} other checks say the same in both.")
    if png is not None:
        from firstcrank.report.plots import as_png, comparison

        png.write_bytes(as_png(comparison(compared, (f"{first}: {_verdict(one[1])}", f"{second}: {_verdict(two[1])}"))))
        say(str(png))


def _verdict(judgement: Judgement) -> str:
    from firstcrank.model.vocabulary import beside

    return beside(judgement.verdict, judgement.feed.verdict)


def _load(name: str, place: str | None) -> tuple[tuple[Trace, Judgement], int]:
    import json

    from firstcrank.analysis.as_json import from_table
    from firstcrank.analysis.verdict import judge
    from firstcrank.jobs.recordings import recording_of
    from firstcrank.jobs.records import find_start
    from firstcrank.limits import shipped
    from firstcrank.tracefiles.table import load

    number = name.partition("#")[0]
    if number.isascii() and number.isdigit():
        with opened(place) as store:
            start, crank = find_start(store, name)
            recording = recording_of(store, start)
        return (recording.trace, from_table(json.loads(start["judgement_json"]))), crank
    path, mark, crank_text = name.rpartition("#")
    if not mark or not (crank_text.isascii() and crank_text.isdigit() and len(crank_text) < 5):
        path, crank_text = name, "1"  # a name may hold the sign itself
    recording = load(Path(path))
    judgement = judge(recording.trace, recording.limits or shipped(12), recording.context)
    return (recording.trace, judgement), int(crank_text)


def _squeezed(volts: FloatArray, width: int) -> FloatArray:
    import numpy as np

    values = np.nan_to_num(np.asarray(volts, dtype=np.float64), nan=0.0)
    group = max(len(values) // width, 1)
    squeezed: FloatArray = values[: len(values) // group * group].reshape(-1, group).min(axis=1)
    return squeezed


def _cell(finding: object) -> str:
    from firstcrank.model.judgement import Finding
    from firstcrank.report.inputs import RESULT_LABELS, number

    if not isinstance(finding, Finding):
        return "-"
    return f"{RESULT_LABELS[finding.result]}  {number(finding, finding.measured)}".strip()
