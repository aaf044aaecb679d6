"""firstcrank judge: verdicts on files."""

from __future__ import annotations

from pathlib import Path
from typing import Unpack

import click

from firstcrank.cli.answers import EXIT, FILE, answers_given, chosen_limits, context_with, judging_options
from firstcrank.cli.csv_options import columns_of, csv_options
from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import FiledOptions
from firstcrank.cli.say import say, say_json
from firstcrank.cli.store_option import STORE, opened
from firstcrank.errors import FirstcrankError
from firstcrank.limits import Limits
from firstcrank.model.judgement import Judgement
from firstcrank.model.vocabulary import beside
from firstcrank.recording import Recording

WORST_FIRST = (2, 4, 1, 3, 0)


@click.command(cls=GroupedCommand)
@click.argument("files", nargs=-1, required=True, type=FILE)
@judging_options
@csv_options
@STORE
@click.option("--plain", is_flag=True, help="The result as plain lines, for a screen reader.")
@click.option("--json", "as_lines", is_flag=True, help="One JSON object a file, and nothing else.")
def judge(
    files: tuple[Path, ...],
    columns: tuple[str, ...],
    uncertainty: str | None,
    save_as: str | None,
    saved_name: str | None,
    plain: bool,
    as_lines: bool,
    **options: Unpack[FiledOptions],
) -> int:
    """Judge recordings (.fcr), CSV files, or starts of the record by their number: these with the limits they were filed with.

    Exit code: 0 PASS, 1 FAIL, 2 wrong usage, 3 NO VERDICT, 4 file trouble; of several files the worst: 2, 4, 1, 3, 0.

    \b
    Examples:
      firstcrank judge last
      firstcrank judge start.fcr --running
      firstcrank judge 12 --limits stricter.toml
      firstcrank judge logger.csv --map battery=U1 --map key_switch=U2
    """
    mapped, uncertainty = columns_of(columns, uncertainty, save_as, saved_name)
    codes = []
    for name in files:
        try:
            if str(name).isascii() and str(name).isdigit() and not name.exists():
                codes.append(_filed(str(name), as_lines, plain, options))
                continue
            file = _last() if str(name) == "last" and not name.exists() else name
            codes.append(_one(file, mapped, uncertainty, as_lines, plain, options))
        except FirstcrankError as error:
            say(f"firstcrank: {error}", err=True)
            codes.append(error.exit_code)
    return min(codes, key=WORST_FIRST.index)


def _last() -> Path:
    """The newest recording of the folder that the settings name. Raises UsageError."""
    from firstcrank.settings import last_recording, read_settings

    return last_recording(read_settings().folder)


def _filed(number: str, as_lines: bool, plain: bool, options: FiledOptions) -> int:
    """A start of the record; what was filed stays as it is."""
    import json

    from firstcrank.jobs.recordings import recording_of
    from firstcrank.jobs.records import find_start

    with opened(options["place"]) as store:
        start, _ = find_start(store, number)
        recording = recording_of(store, start)
    limits = chosen_limits(options["limits_file"], options["system"], Limits.from_json(json.loads(start["limits_json"])))
    code = _judged(recording, Path(start["file_name"]), limits, as_lines, plain, options)
    if not as_lines:
        say(f"Filed as {beside(start['verdict'], start['feed_verdict'])}; the record is as it was.")
    return code


def _judged(recording: Recording, file: Path, limits: Limits, as_lines: bool, plain: bool, options: FiledOptions) -> int:
    """Judges a recording, shows what was found, and returns the exit code."""
    from firstcrank.analysis.switch_test import KIND
    from firstcrank.analysis.verdict import judge as judge_trace

    if recording.trace.kind == KIND and not as_lines:
        return _switch(recording, limits)
    judgement = judge_trace(recording.trace, limits, context_with(recording.context, answers_given(options)))
    _show(judgement, recording, file, as_lines, plain)
    return EXIT[judgement.verdict]


def _switch(recording: Recording, limits: Limits) -> int:
    """A switch test has its own answer and is no start: nobody cranked, so no verdict of a start is shown."""
    from firstcrank.analysis.switch_test import judge_switch
    from firstcrank.cli.result import is_simulated
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.switch_result import EXIT as SWITCH_EXIT
    from firstcrank.cli.switch_result import show_switch

    result = judge_switch(recording.trace, limits)
    show_switch(Screen(), result, is_simulated(recording))
    say("A switch test is no start: there is no verdict of one (NO VERDICT).")
    return SWITCH_EXIT[result.word]


def _show(judgement: Judgement, recording: Recording, file: Path, as_lines: bool, plain: bool) -> None:
    from firstcrank.cli.log_verdict import log_verdict

    log_verdict(judgement, "what was judged")
    if as_lines:
        from firstcrank.analysis.as_json import to_line

        say_json(to_line(judgement, str(file)))
    else:
        from firstcrank.cli.result import show_all

        show_all(judgement, recording, file, plain)


def _one(
    file: Path, columns: dict[str, str], uncertainty: str | None, as_lines: bool, plain: bool, options: FiledOptions
) -> int:
    from firstcrank.calibration import read_calibration
    from firstcrank.tracefiles.csv import parse_uncertainty
    from firstcrank.tracefiles.table import load

    calibration = read_calibration(options["calibration_file"]) if options["calibration_file"] else None
    accuracy = parse_uncertainty(uncertainty) if uncertainty else None
    chosen_limits(options["limits_file"], options["system"])  # a wrong limits file is told before a wrong trace
    recording = load(file, calibration, columns, accuracy)
    limits = chosen_limits(options["limits_file"], options["system"], recording.limits)
    return _judged(recording, file, limits, as_lines, plain, options)
