"""Another record store, only read: its schema is looked at first, and it is never brought up to date from here."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from sqlalchemy import event
from sqlalchemy.exc import SQLAlchemyError

from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs.migrating import stored_revision
from firstcrank.jobs.revision import head_revision
from firstcrank.jobs.store import Store, raw_store
from firstcrank.jobs.trouble import store_error, translate


@contextlib.contextmanager
def other_store(place: str, beside: Store) -> Iterator[Store]:
    """The other store, open for reading. Raises UsageError where it is the same one, StoreError where it cannot be read or is of
    another version of the program."""
    source = raw_store(place)
    try:
        if source.name == beside.name:
            raise UsageError(f"{source.name} is the store itself: name another one")
        try:
            revision = stored_revision(source.engine)
        except SQLAlchemyError as error:
            raise store_error(error, source.place) from None
        if revision is None:
            raise StoreError(f"{source.name} holds no record of firstcrank: is its name right?")
        if revision > head_revision():
            raise StoreError(
                f"{source.name} was written by a newer firstcrank: update this one (pip install --upgrade firstcrank)"
            )
        if revision < head_revision():
            raise StoreError(
                f"{source.name} was written by an earlier firstcrank, and is only read here. Make a copy of it, bring the copy up to "
                f"date (firstcrank jobs list --store COPY does so), then merge the copy"
            )
        event.listen(source.engine, "handle_error", lambda context: translate(context, source.place))
        yield source
    finally:
        source.close()
