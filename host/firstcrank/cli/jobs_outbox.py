"""firstcrank jobs outbox, send: starts that were recorded while their store was away."""

from __future__ import annotations

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened, tell_sent

OPEN = 1


@click.command()
def outbox() -> int:
    """List the starts that wait on this computer. They go up by themselves when a command opens their store.

    Exit code: 0 none waits, 1 some do.

    \b
    Examples:
      firstcrank jobs outbox
    """
    from firstcrank.jobs.outbox import outbox_folder, waiting
    from firstcrank.units import local_time

    entries, trouble = waiting()
    for entry in entries:
        row = entry.row
        say(f"{local_time(entry.kept_utc)}  job {entry.job}  {row['verdict']}  {row['file_name']}  for {entry.store}")
    for line in trouble:
        say(f"Note: {line}", err=True)
    say(f"{len(entries)} starts wait in {outbox_folder()}" if entries else "Nothing waits on this computer.")
    return OPEN if entries or trouble else 0


@click.command()
@click.option("--every", is_flag=True, help="Also what was kept for another name of this store, or another store.")
@STORE
def send(every: bool, place: str | None) -> int:
    """File what waits on this computer for the store, now.

    Exit code: 0 nothing is left, 1 something still waits.

    \b
    Examples:
      firstcrank jobs send --every --store postgresql://user@new-server/shop
    """
    from firstcrank.jobs.outbox import waiting
    from firstcrank.jobs.sending import send as send_all

    with opened(place) as store:
        if every:
            tell_sent(send_all(store, every=True))
        left, trouble = waiting(None if every else store.name)
    say(f"{len(left)} starts still wait." if left else "Nothing waits for it.")
    return OPEN if left or trouble else 0
