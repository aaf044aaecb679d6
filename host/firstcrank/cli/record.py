"""firstcrank record: cautions, leads, key off, KEY ON, crank; records, stops by itself, judges, keeps."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar, Unpack

import click

from firstcrank.cli.answers import EXIT, answers_given, context_with, judging_options
from firstcrank.cli.file_start import file_start, filed_line, known_of, with_known
from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import RecordingOptions
from firstcrank.cli.say import say
from firstcrank.cli.wrapped import question
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.calibration import Calibration
    from firstcrank.limits import Limits
    from firstcrank.link.board_client import BoardClient
    from firstcrank.model.context import Context
    from firstcrank.model.judgement import Judgement
    from firstcrank.visit.ending import Ending
    from firstcrank.visit.values import Visit

P = ParamSpec("P")
R = TypeVar("R")
CAUTIONS = (
    "Neutral or park, brake on, wheels chocked. Nobody near belts, fan or shafts; leads tied off.",
    "No starting fluid with an intake heater. A way to shut the engine's air off at hand. Oil in, fuel system primed.",
    "Engine-to-battery ground strap checked first. Board ground on the battery negative POST only; a fuse at the clip.",
    "Laptop on its own battery, not on the mains. Never pierce pedal or data-bus wires.",
    "Starter 30 s at most, then 2 minutes' rest. The engine maker's instructions come before all of this.",
)
GUIDED = (
    "The limits of this guide are shorter than a starter's on purpose: bursts of 5, 10, 15 s, rests of 30 s and more. The engine "
    "maker's instructions come before all of this."
)


_RECORDING = (
    click.option("--port", help="Serial port, pyserial URL, or sim:NAME. Default: the only board plugged in."),
    click.option(
        "--out", type=click.Path(dir_okay=False, path_type=Path), help="Recording file (.fcr). Default: by date and time."
    ),
    click.option("--job", help="Keep the start with this job number."),
    click.option("--store", envvar="FIRSTCRANK_STORE", help="Record store, with --job."),
    click.option("--bin-ms", type=click.FloatRange(0.25, 100), default=0.768, show_default=True, help="Length of a bin."),
    click.option("--acquisition", default="auto", show_default=True, help="How the board samples."),
    click.option("--lead", "leads", multiple=True, metavar="ROLE=PIN", help="Leads of your board, if not the minimal build's."),
    click.option("--yes", is_flag=True, help="Ask nothing: questions not answered by an option are left open."),
    click.option(
        "--watch",
        type=click.Choice(["start", "charge", "off"]),
        default="start",
        help="Go on after the start: charge (a minute of running), off (the key going off and what feeds back).",
    ),
    click.option(
        "--longest", "longest_s", type=click.FloatRange(5, 3600), default=180.0, help="Give up after this many seconds."
    ),
    click.option("--plain", is_flag=True, help="Lines of text instead of a picture, for a screen reader."),
)


def recording_options(command: Callable[P, R]) -> Callable[P, R]:
    """Adds the options of a recording and those of the judge."""
    command = judging_options(command)
    for option in reversed(_RECORDING):
        command = option(command)
    return command


@click.command(cls=GroupedCommand)
@recording_options
def record(**options: Unpack[RecordingOptions]) -> int:
    """Record one start, judge it, keep it.

    Exit code: 0 PASS, 1 FAIL, 2 wrong usage, 3 NO VERDICT, 4 trouble with the board, port or file.

    \b
    Examples:
      firstcrank record --job 1207
      firstcrank record --watch charge --running
      firstcrank record --port sim:feed_dead_in_start
    """
    return run_recording(options)


def run_recording(options: RecordingOptions, ask_visit: Callable[[RecordingOptions], Visit] | None = None) -> int:
    """Everything of a recording from options to exit code. Checked before anybody touches a key.

    `ask_visit`: for a guided start, its questions, asked when files and job are known to be there; it may answer in the options too.
    """
    from firstcrank.board.before_crank import warnings_of
    from firstcrank.cli.choose_port import check_scheme, chosen_link
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.simulated import as_simulated, limits_of
    from firstcrank.link.board_client import BoardClient
    from firstcrank.model.context import Context
    from firstcrank.report.summary import harmful
    from firstcrank.settings import read_settings

    console = Screen()
    limits_of(options)  # a file that can't be used is told before the board is asked
    settings = read_settings()
    path = options["out"] or _by_time(settings.folder)
    if path.exists():
        raise UsageError(f"{path} is already there: choose another name with --out")
    channels_of(options["leads"])
    job, store = options["job"], options["store"]
    if job is not None:
        options = with_known(options, known_of(job, store))
    check_scheme(options["port"])
    visit = ask_visit(options) if ask_visit is not None else None
    client = BoardClient(chosen_link(options["port"]))
    try:
        for line in warnings_of(client.handshake()):
            console.print(line, style="bold")
        cautions(console, guided=visit is not None)
        options = as_simulated(client, options)
        limits = limits_of(options)
        context = ask(context_with(Context(), answers_given(options)), ask_user=not options["yes"])
        calibration = choose_calibration(client, options["calibration_file"], limits, console, options["acquisition"])
        while True:
            judgement, ending = _one_start(console, client, path, limits, calibration, context, options, visit)
            if job is not None:
                number = file_start(path, judgement, job, store, client.link.synthetic)
                before = options.get("compare_with")
                if before is not None and number is not None:
                    _compare(before, number, store)
            harms = harmful(judgement) or ending.is_fault  # never offered where it harms
            if options["yes"] or visit is not None or harms or not _again(console):
                return EXIT["FAIL"] if ending.is_fault else EXIT[judgement.verdict]
            path = _by_time(path.parent)
            context = ask(context_with(Context(), answers_given(options)), ask_user=True)  # the answers can have changed
    finally:
        client.close()


def _by_time(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder / datetime.now().strftime("start-%Y%m%d-%H%M%S.fcr")


def cautions(console: Console, guided: bool = False) -> None:
    """Shown before the key is touched; a guided start has limits of its own."""
    from rich.table import Table
    from rich.text import Text

    console.print(Text.assemble(("Before you touch the key", "bold"), "  (whole list: firstcrank help safety)"))
    table = Table.grid(padding=(0, 1))
    for line in (*CAUTIONS[:-1], GUIDED) if guided else CAUTIONS:
        table.add_row("  !", line)
    console.print(table)
    console.print()


def ask(context: Context, ask_user: bool) -> Context:
    """The two questions a PASS depends on, where no option answered them."""
    from dataclasses import replace

    if not ask_user:
        return context
    if context.cranked_with_key is None:
        yes = click.confirm(question("Will you crank with the vehicle's own key or start button?"), default=True)
        context = replace(context, cranked_with_key=yes)
    if context.module_plugged_in is None:
        context = replace(context, module_plugged_in=click.confirm("Is the engine module plugged in?", default=True))
    return context


def choose_calibration(
    client: BoardClient,
    file: Path | None,
    limits: Limits,
    console: Console,
    acquisition: str = "auto",
    today: date | None = None,
) -> Calibration:
    """The file named, else the one measured and kept on the board, else the nominal one of the minimal build.

    Tells where it is old on `today` (the computer's day where none is given). Raises CalibrationError where
    another converter measured it than samples now.
    """
    from datetime import UTC

    from firstcrank import wire
    from firstcrank.calibration import Calibration, read_calibration
    from firstcrank.calibration_age import DO, age_warning
    from firstcrank.converters import converter_of
    from firstcrank.nominal_files import nominal_file

    behind = converter_of(acquisition, str(client.identity.get("chip", "")))
    stored = None if file is not None else client.ask(wire.CALIBRATE, wire.REPLY, {}).get("calibration")
    if file is None and not stored:
        console.print(
            "This board is not calibrated: resistor values of the minimal build are assumed, with a larger uncertainty "
            "(firstcrank board calibrate)"
        )
        with nominal_file(limits.system_v, behind) as path:
            return read_calibration(path, behind)
    calibration = read_calibration(file, behind) if file is not None else Calibration.from_json(stored or {})
    _same_converter(calibration, behind)
    old = age_warning(calibration, today or datetime.now(UTC).date())
    if old:
        console.print(f"The calibration is {old}: {DO}", markup=False)
    return calibration


def _same_converter(calibration: Calibration, behind: str) -> None:
    """Raises CalibrationError where a measured line belongs to another converter's inputs."""
    from firstcrank.errors import CalibrationError

    made_through = {line.converter for line in calibration.channels.values()} - {""}
    if calibration.kind == "measured" and made_through and behind not in made_through:
        raise CalibrationError(
            f"the calibration was measured through {' and '.join(sorted(made_through))}, and this board samples through {behind}: "
            "calibrate with the same --acquisition (firstcrank board calibrate)"
        )


def _one_start(
    console: Console,
    client: BoardClient,
    path: Path,
    limits: Limits,
    calibration: Calibration,
    context: Context,
    options: RecordingOptions,
    visit: Visit | None = None,
) -> tuple[Judgement, Ending]:
    from firstcrank.analysis.verdict import judge
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.cli.log_verdict import log_verdict
    from firstcrank.cli.result import show_start
    from firstcrank.cli.visit_screen import VisitScreen
    from firstcrank.recorder import Plan, record
    from firstcrank.settings import read_settings
    from firstcrank.tracefiles.native import read_native
    from firstcrank.visit.ending import ending_of

    plan = Plan(
        path=path,
        limits=limits,
        calibration=calibration,
        context=context,
        channels=channels_of(options["leads"]),
        bin_us=round(options["bin_ms"] * 1000),
        acquisition=options["acquisition"],
        longest_s=options["longest_s"],
        watch="visit" if visit is not None else options["watch"],
    )
    try:
        with VisitScreen(
            console,
            limits,
            ask=not options["yes"],
            beep=bool(read_settings().get("beep")),
            plain=options["plain"],
            simulated=client.link.synthetic,
            visit=visit,
        ) as screen:
            record(client, plan, screen)
        recording = read_native(path)
        judgement = judge(recording.trace, limits, recording.context)
        log_verdict(judgement, "what was recorded")
        ending = ending_of(screen.visit)
        console.print()
        show_start(
            console,
            judgement,
            recording,
            f"Kept as {path.resolve()} (firstcrank judge shows every figure of it)",
            options["plain"],
            ending,
            below="" if options["job"] is None else filed_line(options["job"], client.link.synthetic),
        )
    except KeyboardInterrupt:  # while it was closed, judged or shown
        if path.exists():
            console.print(f"Stopped. What was recorded is kept as {path} (firstcrank judge judges it)")
        raise
    return judgement, ending


def _compare(before: int, after: int, store: str | None) -> None:
    """Before and after, side by side."""
    from firstcrank.cli.compare import compare

    say(f"Start {before} beside start {after}:")
    click.Context(compare).invoke(compare, first=str(before), second=str(after), png=None, place=store)


def _again(console: Console) -> bool:
    if not console.is_terminal:
        return False
    return click.confirm("\nCrank again, same job?", default=False)
