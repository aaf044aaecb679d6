"""firstcrank board fetch: brings home what a board recorded alone, and judges it again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import click

from firstcrank.cli.answers import EXIT, answers_given, context_with, judging_options
from firstcrank.cli.file_start import file_start, known_of
from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import JudgingOptions
from firstcrank.printable import printable

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.board.captures import Capture
    from firstcrank.link.board_client import BoardClient
    from firstcrank.model.context import Context
    from firstcrank.model.judgement import Judgement

WORST_FIRST = (2, 4, 1, 3, 0)


@click.command(cls=GroupedCommand)
@click.option("--port", help="Serial port. Default: the only board plugged in.")
@click.option(
    "--out", "folder", type=click.Path(file_okay=False, path_type=Path), default=Path(), help="Folder. Default: this one."
)
@click.option("--all", "every", is_flag=True, help="Those fetched before as well.")
@click.option("--job", help="Keep the starts with this job number.")
@click.option("--store", envvar="FIRSTCRANK_STORE", help="Record store, with --job.")
@click.option("--yes", is_flag=True, help="Ask nothing: questions not answered by an option are left open.")
@judging_options
def fetch(
    port: str | None,
    folder: Path,
    every: bool,
    job: str | None,
    store: str | None,
    yes: bool,
    **options: Unpack[JudgingOptions],
) -> int:
    """Fetch the starts that a board recorded alone, judge each with everything the laptop knows, keep it.

    Where board and laptop differ, both are shown; the laptop's verdict counts. Exit code: the worst, as firstcrank judge.

    \b
    Examples:
      firstcrank board fetch
      firstcrank board fetch --job 1207
    """
    from firstcrank.board.captures import acknowledge_journal, journal, journal_text, list_captures
    from firstcrank.cli.choose_port import chosen_link
    from firstcrank.cli.record import ask
    from firstcrank.cli.screen import Screen
    from firstcrank.link.board_client import BoardClient
    from firstcrank.model.context import Context

    console = Screen()
    if job is not None:
        known_of(job, store)
    client = BoardClient(chosen_link(port))
    try:
        client.handshake()
        client.idle()
        captures = [c for c in list_captures(client) if every or not c.fetched]
        journal_lines = journal_text(journal(client))
        for line in journal_lines:
            console.print(line)
        if journal_lines:
            acknowledge_journal(client)
        if not captures:
            console.print("Nothing new on the board." if not every else "The board has kept nothing.")
            return 0
        context = ask(context_with(Context(), answers_given(options)), ask_user=not yes)
        codes = []
        for capture in captures:
            path, judgement = _one(console, client, capture, folder, context, options)
            codes.append(EXIT[judgement.verdict])
            if job is not None:
                file_start(path, judgement, job, store)
    finally:
        client.close()
    return min(codes, key=WORST_FIRST.index)


def _one(
    console: Console, client: BoardClient, capture: Capture, folder: Path, context: Context, options: JudgingOptions
) -> tuple[Path, Judgement]:
    from firstcrank.analysis.verdict import judge
    from firstcrank.board.captures import mark_fetched, read_capture, write_recording
    from firstcrank.calibration import read_calibration
    from firstcrank.cli.answers import chosen_limits
    from firstcrank.cli.log_verdict import log_verdict
    from firstcrank.cli.record import choose_calibration
    from firstcrank.cli.show import last_line, show
    from firstcrank.tracefiles.native import context_to_json, from_bytes, read_native

    with console.status(f"Fetching capture {capture.number}") as status:
        data = read_capture(
            client,
            capture,
            lambda have, total: status.update(f"Fetching capture {capture.number}: {have // 1024} of {total // 1024} kB"),
        )
    kept = from_bytes(data)
    given = options["limits_file"] is not None or options["system"] is not None
    limits = chosen_limits(options["limits_file"], options["system"], None if given else kept.limits)
    calibration = None if options["calibration_file"] is None else read_calibration(options["calibration_file"])
    calibration = calibration or kept.calibration or choose_calibration(client, None, limits, console)
    path = _free_name(folder, str(client.identity.get("board", ""))[-4:], capture.number)
    write_recording(path, data, client.link.name, calibration, limits, context_with(kept.context, context_to_json(context)))
    recording = read_native(path)
    mark_fetched(client, capture)
    judgement = judge(recording.trace, limits, recording.context)
    log_verdict(judgement, f"capture {capture.number}")
    show(console, judgement, recording.trace, title=path.name, details=False)
    last_line(console, judgement, f"Kept as {path} (firstcrank judge shows every figure of it)")
    board_result = recording.meta.get("board_said")
    if board_result and board_result[0] != judgement.feed.verdict:
        console.print(
            printable(
                f"The board's own verdict was {board_result[0]}: {board_result[1]}. It sees less; the verdict above counts."
            )
        )
    elif board_result and judgement.other_faults:
        console.print(
            printable(
                f"The board's own verdict was {board_result[0]}: it judges the key feed only; the other fault above counts."
            )
        )
    elif board_result:
        console.print("The board's own verdict was the same.")
    return path, judgement


def _free_name(folder: Path, board: str, number: int) -> Path:
    """A name that is not taken: captures may be fetched again, and a board's numbers begin anew."""
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"capture-{board or 'board'}-{number:04d}"
    path, again = folder / f"{stem}.fcr", 1
    while path.exists():
        again += 1
        path = folder / f"{stem}-{again}.fcr"
    return path
