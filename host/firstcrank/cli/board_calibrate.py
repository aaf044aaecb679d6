"""firstcrank board calibrate: guided, with one meter."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from firstcrank.calibrating.procedure import Outcome


class AtTerminal:
    """The person at the terminal."""

    def do(self, text: str) -> None:
        """Waits for Enter."""
        click.prompt(text + "  [Enter]", default="", show_default=False, prompt_suffix=" ")

    def volts(self, text: str) -> float:
        """A number; empty for done."""
        while True:
            said = click.prompt(text, default="", show_default=False, prompt_suffix=" ").strip().replace(",", ".")
            if said in ("", "done"):
                return math.nan
            try:
                return float(said.removesuffix("V").removesuffix("v"))
            except ValueError:
                click.echo(f"{said!r} is no voltage: write 12.63")

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
    "--meter-percent", type=click.FloatRange(0, 5), prompt="Its accuracy on this range, % of reading", help="Data sheet."
)
@click.option("--meter-mv", type=click.FloatRange(0, 500), prompt="plus, in mV (counts times resolution)", help="Data sheet.")
@click.option("--out", type=click.Path(path_type=Path), help="TOML file for this computer's copy. Default: in the data folder.")
def calibrate(
    port: str | None,
    leads: tuple[str, ...],
    acquisition: str,
    system: str,
    nominal: Path | None,
    meter_name: str,
    meter_percent: float,
    meter_mv: float,
    out: Path | None,
) -> None:
    """Calibrate every input of a board against one meter; kept on the board, and a copy in a file."""
    from importlib import resources

    from firstcrank import wire
    from firstcrank.calibrating.fit import Meter
    from firstcrank.calibrating.procedure import calibrate as lead
    from firstcrank.calibration import read_calibration
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.errors import CalibrationError
    from firstcrank.link.board_client import BoardClient
    from firstcrank.link.open import open_link

    client = BoardClient(open_link(port))
    try:
        identity = client.handshake()
        client.idle()
        client.configure(channels_of(leads), 768, 0, acquisition)

        def read() -> tuple[Mapping[str, float], Mapping[str, float]]:
            inputs = client.ask(wire.SELF_CHECK, wire.CHECK, answer_s=10.0)["inputs"]
            return {i["role"]: i["mean_code"] for i in inputs}, {i["role"]: i["rms_code"] for i in inputs}

        roles = list(read()[0])
        with resources.as_file(resources.files("firstcrank.data") / f"calibration_minimal_{system}v.toml") as shipped_file:
            stated = read_calibration(nominal or shipped_file)
        meter = Meter(meter_name, meter_percent / 100.0, meter_mv / 1000.0)
        outcome = lead(AtTerminal(), read, roles, meter, stated, str(identity.get("board", "")))
        _show(outcome)
        client.ask(wire.CALIBRATE, wire.REPLY, {"store": outcome.calibration.to_json()})
        click.echo(f"Kept on the board, dated {outcome.calibration.date}.")
        kept = out or _copy_of(outcome.calibration.board, outcome.calibration.date)
        try:
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(_toml(outcome.calibration.to_json()), "utf-8")
        except OSError as error:
            raise CalibrationError(f"{kept} cannot be written: {error.strerror}. The board has the calibration") from error
        click.echo(f"A copy is in {kept}")
    finally:
        client.close()


def _copy_of(board: str, date: str) -> Path:
    from platformdirs import user_data_path

    return user_data_path("firstcrank", appauthor=False) / "calibrations" / f"{board or 'board'}_{date}.toml"


def _show(outcome: Outcome) -> None:
    for role, fitted in outcome.fits.items():
        line = fitted.line
        worst = max(abs(float(r)) for r in fitted.residuals_v)
        u = 2.0 * math.hypot(
            line.uncertainty.offset_v, 12.0 * math.hypot(line.uncertainty.gain_rel, line.uncertainty.shared_gain_rel)
        )
        click.echo(
            f"{role.replace('_', ' '):<14}{line.gain_v_per_code * 1e3:.4f} mV per code, {line.offset_v * 1e3:+.1f} mV; "
            f"worst residual {worst * 1e3:.1f} mV; at 12 V ± {u * 1e3:.0f} mV"
        )
        for note in fitted.notes:
            click.echo(f"  {note}")


def _toml(table: dict[str, Any]) -> str:
    """The calibration as read_calibration takes it."""
    import json

    lines = [f"{key} = {json.dumps(table[key], ensure_ascii=False)}" for key in ("kind", "date", "meter", "board", "notes")]
    for role, channel in table["channels"].items():
        lines += ["", f"[channels.{role}]", *(f"{key} = {value!r}" for key, value in channel.items())]
    return "\n".join(lines) + "\n"
