"""The command line's root: a table of commands, each loaded only when it is used, and errors as one plain line."""

from __future__ import annotations

import io
import os
import sys

import click

from firstcrank.cli.lazy_group import ENTRY_POINT, LazyGroup
from firstcrank.cli.say import say
from firstcrank.errors import FirstcrankError

GROUP = "firstcrank.commands"
# name -> (where the click command is, one line of help). Help lists them in this order. What another package of ours brings by
# entry point stands here by its line of help alone, so that help imports nothing; anyone else's command is found when it is typed.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("firstcrank.cli.demo:demo", "A start that fails and its repair, on a simulated vehicle."),
    "start": ("firstcrank.cli.start:start", "Be led through a first start, step by step."),
    "switch-test": (
        "firstcrank.cli.switch_test:switch_test",
        "The key through START, starter disabled: no start, never a PASS.",
    ),
    "record": ("firstcrank.cli.record:record", "Record a start from a board, judge it, keep it."),
    "repeat": ("firstcrank.cli.repeat:repeat", "A job's start again after a repair, compared with the one before."),
    "live": ("firstcrank.cli.live:live", "Live values: now, lowest, highest of each lead."),
    "watch": ("firstcrank.cli.watch:watch", "Key ON while the harness is moved: every dropout beeps and is counted."),
    "checklist": ("firstcrank.cli.checklist:checklist", "The checks of a first start, kept with the job."),
    "judge": ("firstcrank.cli.judge:judge", "Judge recordings or CSV files again."),
    "board": ("firstcrank.cli.board:board", "Find, check, install, calibrate a board."),
    "limits": ("firstcrank.cli.limits:limits", "Write out the limits, to edit."),
    "jobs": ("firstcrank.cli.jobs:jobs", "The record: jobs, their starts, notes, backup, trends."),
    "report": ("firstcrank.cli.report:report", "A start as a page for the customer: HTML, PDF, PNG."),
    "compare": ("firstcrank.cli.compare:compare", "Two starts side by side: before and after."),
    "export": ("firstcrank.cli.export:export", "A recording as CSV, Parquet or MDF."),
    "divider": ("firstcrank.cli.divider:divider", "Design or check the input network."),
    "wire": ("firstcrank.cli.wire:wire", "Drop and gauge of a feed; the ignition switch's terminals."),
    "config": ("firstcrank.cli.config:config", "Each setting, its value and where it comes from."),
    "doctor": ("firstcrank.cli.doctor:doctor", "Is everything there that a first start needs; what to type next."),
    "help": ("firstcrank.cli.help_topics:help_topics", "Safety, no-fire, cautions, each cause's check, JSON Schemas."),
    "completion": ("firstcrank.cli.completion:completion", "What makes a shell complete commands and options."),
    "scenarios": (ENTRY_POINT, "List the simulated starts."),
}
TROUBLE = 4
WITHOUT_SETTINGS = ("config", "doctor", "help", "completion", "--help", "-h", "--version")


def _version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not context.resilient_parsing:
        from firstcrank import __version__

        say(f"firstcrank, version {__version__}")
        context.exit()


@click.group(
    cls=LazyGroup,
    table=COMMANDS,
    entry_points=GROUP,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option(
    "--version", is_flag=True, expose_value=False, is_eager=True, callback=_version, help="Show the version and exit."
)
@click.option(
    "--log",
    type=click.Path(dir_okay=False),
    envvar="FIRSTCRANK_LOG",
    help="Add to this file what happens, for somebody who looks for a fault. Before the command.",
)
@click.pass_obj
def cli(typed: list[str] | None, log: str | None) -> None:
    """Proves the key-switch feed of a freshly wired electronic diesel while it cranks.

    Try it without hardware: firstcrank demo
    """
    if log is not None:
        from pathlib import Path

        from firstcrank.cli.log_file import begin

        begin(Path(log), typed or ())


def _defaults(typed: list[str]) -> dict[str, dict[str, object]]:
    """Defaults from the settings file; none for the commands that show and mend it."""
    while typed and typed[0].startswith("--log"):
        typed = typed[1 if "=" in typed[0] else 2 :]
    if not typed or typed[0] in WITHOUT_SETTINGS:
        return {}
    from firstcrank.settings import default_map, read_settings, settings_path

    return default_map(read_settings()) if settings_path().exists() else {}


def _logged(args: list[str] | None) -> int:
    """Runs the command; with `--log` what ended it goes into the file, which is closed then. Returns the exit code."""
    typed = sys.argv[1:] if args is None else args
    try:
        outcome = cli.main(args, prog_name="firstcrank", standalone_mode=False, default_map=_defaults(typed), obj=typed)
        code = outcome if isinstance(outcome, int) else 0
        _end_of_log(None, code)
        return code
    except BaseException as error:
        _end_of_log(error, 0)
        raise


def _end_of_log(error: BaseException | None, code: int) -> None:
    if "firstcrank.cli.log_file" in sys.modules:  # only --log loads it
        from firstcrank.cli.log_file import end

        end(error, code)


def main(args: list[str] | None = None) -> None:
    """Entry point. Errors become one line on standard error and an exit code, never a traceback.

    FIRSTCRANK_TRACEBACK=1 shows where an unexpected one came from, for a bug report.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console without our characters must not end the program
    try:
        sys.exit(_logged(args))
    except FirstcrankError as error:
        say(f"firstcrank: {error}", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        shown = io.StringIO()
        error.show(shown)
        for line in shown.getvalue().splitlines():  # what was typed stands in it
            say(line, err=True)
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        say("firstcrank: stopped", err=True)
        sys.exit(130)
    except BrokenPipeError:  # the reader of a pipe has gone: nothing to tell, and nothing more to flush
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        say(f"firstcrank: {place}{error.strerror or error}", err=True)
        sys.exit(TROUBLE)
    except Exception as error:
        if os.environ.get("FIRSTCRANK_TRACEBACK"):
            raise
        say(
            f"firstcrank: something unexpected went wrong ({type(error).__name__}: {error}). Please report it with what you "
            "typed; FIRSTCRANK_TRACEBACK=1 before the command shows where it happened",
            err=True,
        )
        sys.exit(TROUBLE)


if __name__ == "__main__":
    main()
