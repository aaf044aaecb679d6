"""The option that names the record store, and opening it, for every command that uses the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from firstcrank.jobs.store import Store

STORE = click.option("--store", "place", envvar="FIRSTCRANK_STORE", help="Record store: a file, or a database URL.")
WHO = click.option("--who", default="", help="Who does it. Default: the computer's user.")


def opened(place: str | None) -> Store:
    """The store. Raises StoreError."""
    from firstcrank.jobs.store import open_store

    return open_store(place)
