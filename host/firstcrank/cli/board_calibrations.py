"""firstcrank board calibrations: the copies on this computer, how far each input has moved, and a sheet to print."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.calibration_folder import calibration_folder


@click.command()
@click.argument("board", required=False)
@click.option(
    "--folder", type=click.Path(path_type=Path, file_okay=False), help="Where the copies are. Default: the data folder."
)
@click.option(
    "--sheet", "sheet_file", type=click.Path(path_type=Path, dir_okay=False), help="Write the newest one as a page (HTML)."
)
@click.option("--by", default="", help="Who calibrated, for the sheet.")
def calibrations(board: str | None, folder: Path | None, sheet_file: Path | None, by: str) -> None:
    """List a board's calibrations kept on this computer and how far its inputs have moved since each.

    BOARD is its identity as `firstcrank board info` shows it; needed only where copies of several boards are there.

    \b
    Examples:
      firstcrank board calibrations
      firstcrank board calibrations --sheet sheet.html --by technician
    """
    from firstcrank.calibrating.history import kept_calibrations, movements
    from firstcrank.calibrating.sheet import sheet
    from firstcrank.errors import UnwritableFileError, UsageError, cannot_write

    place = folder or calibration_folder()
    boards = sorted({path.name.rsplit("_20", 1)[0] for path in place.glob("*_20*.toml")})
    if board is None:
        if len(boards) > 1:
            raise UsageError(f"calibrations of several boards are in {place}: name one of {', '.join(boards)}")
        if not boards:
            click.echo(f"No calibration is kept in {place}: firstcrank board calibrate makes one.")
            return
        board = boards[0]
    kept = kept_calibrations(place, board)
    if not kept:
        raise UsageError(f"no calibration of board {board} is kept in {place}; there are: {', '.join(boards) or 'none'}")
    for number, (path, calibration) in enumerate(kept):
        click.echo(f"{calibration.date}  {calibration.kind}  {calibration.meter or 'meter not stated'}  {path.name}")
        if number:
            for movement in movements(kept[number - 1][1], calibration):
                click.echo(f"  {movement.text}")
    if sheet_file is not None:
        newest = kept[-1][1]
        moved = movements(kept[-2][1], newest) if len(kept) > 1 else ()
        try:
            sheet_file.write_text(sheet(newest, moved, by), "utf-8")
        except OSError as error:
            raise UnwritableFileError(cannot_write(sheet_file, error)) from error
        click.echo(f"Sheet: {sheet_file.resolve()}")
