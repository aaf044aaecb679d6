"""The option that names the record store, and opening it, for every command that uses the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from firstcrank.jobs.store import Store

STORE = click.option("--store", "place", envvar="FIRSTCRANK_STORE", help="Record store: a file, or a database URL.")
WHO = click.option("--who", default="", help="Who does it. Default: the computer's user.")


def opened(place: str | None, create: bool = False) -> Store:
    """The store; what its user should know is printed. `create`: made where it is not there, and told. Raises StoreError."""
    from pathlib import Path

    from firstcrank.cli.say import say
    from firstcrank.jobs.store import default_place, open_store

    new = create and "://" not in (place or default_place()) and not Path(place or default_place()).expanduser().exists()
    store = open_store(place, create=create)
    if new:
        say(f"New record store: {store.name}", err=True)
    for note in store.notes:
        say(f"Note: {note}", err=True)
    return store
