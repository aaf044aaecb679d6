"""firstcrank jobs attach: recordings and photos that were made elsewhere."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

PATH = click.Path(path_type=Path)
PHOTOS = (".png", ".jpg", ".jpeg", ".heic", ".webp")


@click.command()
@click.argument("number")
@click.argument("files", nargs=-1, required=True, type=PATH)
@click.option("--caption", default="", help="For photos.")
@STORE
def attach(number: str, files: tuple[Path, ...], caption: str, place: str | None) -> None:
    """Attach recordings (judged and filed) or photos to a job.

    \b
    Examples:
      firstcrank jobs attach 1207 start.fcr
    """
    from firstcrank.errors import UsageError
    from firstcrank.jobs.filing import attach as attach_start
    from firstcrank.jobs.records import add_photo

    with opened(place) as store:
        for file in files:
            if file.suffix.lower() in PHOTOS:
                try:
                    content = file.read_bytes()
                except OSError as error:
                    raise UsageError(f"{file}: {error.strerror}") from error
                add_photo(store, number, file.name, content, caption)
                say(f"{file.name} kept")
            else:
                say(f"{file.name} filed as start {attach_start(store, number, file)}")
