"""Records a switch test: the kind of recording stands in its protected identity, so that no judge takes it for a start."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from firstcrank.cli.answers import answers_given, context_with
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.cli.options import RecordingOptions
    from firstcrank.limits import Limits
    from firstcrank.trace import Trace


def record_switch(console: Console, options: RecordingOptions) -> tuple[Path, Trace, Limits, bool]:
    """The file, its trace, the limits and whether it is simulated. Raises what a recording raises."""
    from firstcrank.analysis.switch_test import KIND
    from firstcrank.cli.choose_port import chosen_link
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.cli.record import choose_calibration
    from firstcrank.cli.simulated import as_simulated, limits_of
    from firstcrank.cli.switch_screen import SwitchScreen
    from firstcrank.link.board_client import BoardClient
    from firstcrank.model.context import Context
    from firstcrank.recorder import Plan, record
    from firstcrank.tracefiles.native import read_native

    limits_of(options)
    path = options["out"] or Path(datetime.now().strftime("switch-test-%Y%m%d-%H%M%S.fcr"))
    if path.exists():
        raise UsageError(f"{path} is already there: choose another name with --out")
    channels_of(options["leads"])
    client = BoardClient(chosen_link(options["port"]))
    try:
        client.handshake()
        simulated = client.link.synthetic
        options = as_simulated(client, options)
        limits, channels = limits_of(options), channels_of(options["leads"])
        calibration = choose_calibration(client, options["calibration_file"], limits, console, options["acquisition"])
        plan = Plan(
            path,
            limits,
            calibration,
            context_with(Context(), answers_given(options)),
            channels,
            round(options["bin_ms"] * 1000),
            options["acquisition"],
            options["longest_s"],
            KIND,
            "visit",
        )
        with SwitchScreen(console, limits, ask=not options["yes"], plain=options["plain"], simulated=simulated) as screen:
            record(client, plan, screen)
    finally:
        client.close()
    return path, read_native(path).trace, limits, simulated
