"""firstcrank jobs access: who may read a store that is a file."""

from __future__ import annotations

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened


@click.command()
@click.option("--group", help="Let this group of the computer's users read and write it.")
@click.option("--owner-only", is_flag=True, help="Let its owner alone.")
@STORE
def access(group: str | None, owner_only: bool, place: str | None) -> None:
    """Say or set who may read a store that is a file: its owner alone (as it is made), or a group for a shared folder.

    The group needs the store's folder too. All of them must work on one computer: several computers need a PostgreSQL server.

    \b
    Examples:
      firstcrank jobs access --group workshop
    """
    from firstcrank.errors import UsageError
    from firstcrank.jobs.access import GROUP, access_of, seen_by_all, set_access

    with opened(place) as store:
        file = store.place.file
    if file is None:
        raise UsageError("a server says itself who may use its databases: ask who runs it")
    if (group is not None) == owner_only:
        if owner_only:
            raise UsageError("either --group or --owner-only")
        who = (
            "any user of this computer" if seen_by_all(file) else "its group" if access_of(file) == GROUP else "its owner alone"
        )
        say(f"{file}: read by {who}")
        return
    changed = set_access(file, group)
    say(f"{changed} files and folders are now for {'the group ' + group if group else 'their owner alone'}")
