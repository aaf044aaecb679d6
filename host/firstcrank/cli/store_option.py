"""The option that names the record store, and opening it, for every command that uses the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say

if TYPE_CHECKING:
    from firstcrank.jobs.sending import Sent
    from firstcrank.jobs.store import Store

STORE = click.option("--store", "place", envvar="FIRSTCRANK_STORE", help="Record store: a file, or a database URL.")
WHO = click.option("--who", default="", help="Who does it. Default: the computer's user.")


def opened(place: str | None, create: bool = False) -> Store:
    """The store. What its user should know is printed, and what waited on this computer for it is filed.

    `create`: made where it is not there, and told. Raises StoreError.
    """
    from firstcrank.jobs.outbox import anything_waits
    from firstcrank.jobs.store import open_store
    from firstcrank.jobs.typed_place import default_place, file_of

    file = file_of(place or default_place()) if create else None
    new = file is not None and not file.exists()
    store = open_store(place, create=create)
    if new:
        say(f"New record store: {store.name}", err=True)
    for note in store.notes:
        say(f"Note: {note}", err=True)
    if anything_waits():
        from firstcrank.jobs.sending import send

        tell_sent(send(store))
    return store


def tell_sent(sent: Sent) -> None:
    """What went from this computer into the store."""
    for filed in sent.filed:
        made = ", which was made for it: is its number right?" if filed.made else ""
        say(f"Filed from this computer's outbox: start {filed.start} of job {filed.job}{made}", err=True)
    for line in sent.trouble:
        say(f"Note: {line}", err=True)
