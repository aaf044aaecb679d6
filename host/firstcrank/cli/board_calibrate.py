"""firstcrank board calibrate: guided, with one meter."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from firstcrank.calibrating import typed
from firstcrank.cli.calibration_folder import calibration_folder
from firstcrank.cli.wrapped import question
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.calibrating.procedure import Outcome


class _Accuracy(click.ParamType[float, object]):
    """A part of a meter's accuracy in the usual spellings; what cannot be understood is asked again."""

    name = "accuracy"

    def __init__(self, read: Callable[[str], float]) -> None:
        self._read = read

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number, as a share or in volts."""
        if isinstance(value, float):
            return value
        try:
            return self._read(str(value))
        except UsageError as error:
            self.fail(str(error), param, ctx)


class AtTerminal:
    """The person at the terminal."""

    def do(self, text: str) -> None:
        """Waits for Enter."""
        click.prompt(question(f"{text}  [Enter]"), default="", show_default=False, prompt_suffix=" ")

    def volts(self, text: str) -> float:
        """A number; empty for done."""
        while True:
            typed_text = click.prompt(question(text), default="", show_default=False, prompt_suffix=" ").strip()
            if typed_text in ("", "done"):
                return math.nan
            try:
                return typed.volts(typed_text)
            except UsageError as error:
                click.echo(str(error))

    def tell(self, text: str) -> None:
        """Shows a line."""
        click.echo(text)


@click.command()
@click.option("--port", help="Serial port. Default: the only board plugged in.")
@click.option("--lead", "leads", multiple=True, metavar="ROLE=PIN", help="Leads of your board, if not the minimal build's.")
@click.option("--acquisition", default="auto", show_default=True, help="How the board samples.")
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="Which minimal build.")
@click.option("--nominal", type=click.Path(path_type=Path, exists=True), help="Your board's resistor values (TOML).")
@click.option("--meter", "meter_name", prompt="Meter (name or number)", help="For the record.")
@click.option(
    "--meter-percent",
    "meter_rel",
    type=_Accuracy(typed.share),
    prompt="Its accuracy on this range, % of reading (such as 0.5 %)",
    help="Data sheet.",
)
@click.option(
    "--meter-mv",
    "meter_v",
    type=_Accuracy(typed.meter_volts),
    prompt="plus (such as 20 mV, or 2 counts of 10 mV)",
    help="Data sheet, mV.",
)
@click.option("--out", type=click.Path(path_type=Path), help="TOML file for this computer's copy. Default: in the data folder.")
def calibrate(
    port: str | None,
    leads: tuple[str, ...],
    acquisition: str,
    system: str,
    nominal: Path | None,
    meter_name: str,
    meter_rel: float,
    meter_v: float,
    out: Path | None,
) -> None:
    """Calibrate every input of a board against one meter; kept on the board, and a copy in a file.

    \b
    Examples:
      firstcrank board calibrate --meter "shop meter" --meter-percent 0.5 --meter-mv 10
      firstcrank board calibrate --system 24 --meter "shop meter" --meter-percent 0.5 --meter-mv 20
    """
    from firstcrank import wire
    from firstcrank.calibrating.acquire import readings
    from firstcrank.calibrating.history import kept_calibrations, since_last
    from firstcrank.calibrating.points import Meter
    from firstcrank.calibrating.procedure import calibrate as lead
    from firstcrank.calibration import Calibration, read_calibration
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.converters import converter_of
    from firstcrank.errors import CalibrationError
    from firstcrank.link.board_client import BoardClient
    from firstcrank.link.open import open_link
    from firstcrank.nominal_files import nominal_file

    meter = Meter(meter_name, meter_rel, meter_v)  # refused before anything is connected
    channels = channels_of(leads)
    client = BoardClient(open_link(port))
    try:
        identity = client.handshake()
        client.idle()
        client.configure(channels, 768, 0, acquisition)
        behind = converter_of(acquisition, str(identity.get("chip", "")))
        with nominal_file(int(system), behind) as shipped_file:
            stated = read_calibration(nominal or shipped_file, behind)
        roles = [str(channel["role"]) for channel in channels]
        outcome = lead(AtTerminal(), lambda: readings(client), roles, meter, stated, str(identity.get("board", "")))
        _show(outcome)
        stored = client.ask(wire.CALIBRATE, wire.REPLY, {}).get("calibration")
        on_board = Calibration.from_json(stored) if stored else None
        kept_before = kept_calibrations(calibration_folder(), outcome.calibration.board)
        for movement in since_last(kept_before, on_board, outcome.calibration):
            click.echo(movement.text)
        client.ask(wire.CALIBRATE, wire.REPLY, {"store": outcome.calibration.to_json()})
        click.echo(f"Kept on the board, dated {outcome.calibration.date}.")
        kept = out or _copy_of(outcome.calibration.board, outcome.calibration.date)
        try:
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(_toml(outcome.calibration.to_json()), "utf-8")
        except OSError as error:
            raise CalibrationError(f"{kept} cannot be written: {error.strerror}. The board has the calibration") from error
        click.echo(f"A copy is in {kept} (firstcrank board calibrations lists all, and writes a sheet)")
    finally:
        client.close()


def _copy_of(board: str, date: str) -> Path:
    """A new file in the data folder; an earlier one of the same day stays."""
    folder = calibration_folder()
    path, number = folder / f"{board or 'board'}_{date}.toml", 2
    while path.exists():
        path, number = folder / f"{board or 'board'}_{date}_{number}.toml", number + 1
    return path


def _show(outcome: Outcome) -> None:
    from firstcrank.calibrating.procedure import expanded_v

    for role, fitted in outcome.fits.items():
        line = fitted.line
        worst = max(abs(float(r)) for r in fitted.residuals_v)
        at_v = [v for v in (7.0, 12.0) if v < line.full_scale_v] or [1.0]
        stated = ", ".join(f"at {v:g} V ± {expanded_v(line, v) * 1e3:.0f} mV" for v in at_v)
        click.echo(
            f"{role.replace('_', ' '):<14}{line.gain_v_per_code * 1e3:.4f} mV per code, {line.offset_v * 1e3:+.1f} mV; "
            f"worst residual {worst * 1e3:.1f} mV; {stated}"
        )
        for note in fitted.notes:
            click.echo(f"  {note}")


def _toml(table: Mapping[str, object]) -> str:
    """The calibration as read_calibration takes it."""
    import json

    lines = [f"{key} = {json.dumps(table[key], ensure_ascii=False)}" for key in ("kind", "date", "meter", "board", "notes")]
    for role, channel in cast("dict[str, dict[str, object]]", table["channels"]).items():
        lines += ["", f"[channels.{role}]", *(f"{key} = {json.dumps(value)}" for key, value in channel.items())]
    return "\n".join(lines) + "\n"
