"""What a database complains of, as one line that says what to do. No statement, no value of a row and no password is in it."""

from __future__ import annotations

import sqlite3

from sqlalchemy.engine import ExceptionContext
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import StoreAwayError, StoreError
from firstcrank.jobs.place import Place

NETWORK = "is the server running, and is this computer on the shop's network?"
DAMAGED = "is damaged: firstcrank jobs check says how far, firstcrank jobs salvage saves what can be read"
FULL = "has no room left on its disk: make room, then try again; what is filed can still be read"
READ_ONLY = "can only be read here: writing needs rights to its file and folder"
# By the first letters of a SQLSTATE (PostgreSQL documentation, appendix A), longest first.
STATES = {
    "28": "refuses the user or the password: look at the URL",
    "3D000": "has no such database: look at the URL, or ask who runs the server",
    "53100": FULL,
    "53": "has too much to do at the moment: try again",
    "25006": "can only be read at the moment: the server takes no changes",
    "42501": "does not let this user do that: ask who runs the server",
    "42P01": "lacks a table: it is no record store of firstcrank, or damaged",
    "55P03": "is held by another program: try again",
    "57014": "took too long for an answer: try again",
    "57P": "ended or restarted while it was asked: try again",
    "40": "was changed by another at the same moment: try again",
    "58": "has trouble with its disk: ask who runs the server",
    "XX": "is damaged on the server: firstcrank jobs check says how far, firstcrank jobs salvage saves what can be read",
}
# By SQLite's primary result code (SQLite documentation, "Result and Error Codes").
CODES = {
    5: "is held by another program: try again",
    6: "is held by another program: try again",
    8: READ_ONLY,
    10: "can't be read or written: is the disk full, or its cable or network share gone?",
    11: DAMAGED,
    13: FULL,
    14: "can't be opened: does its folder exist, and may you use it?",
    26: "is no record store, or damaged from its first byte: is its name right?",
}
MESSAGES = {
    "no answer for": f"does not answer: {NETWORK}",
    "timeout expired": f"does not answer: {NETWORK}",
    "connection timeout": f"does not answer: {NETWORK}",
    "connection refused": f"does not answer: {NETWORK}",
    "resolve host": f"can't be found: is its name right? {NETWORK[0].upper()}{NETWORK[1:]}",
    "name or service": f"can't be found: is its name right? {NETWORK[0].upper()}{NETWORK[1:]}",
    "no such file or directory": f"does not answer: {NETWORK}",
    "password": "refuses the user or the password: look at the URL",
    "does not exist": "has no such user or database: look at the URL",
    "starting up": "is just starting: try again in a minute",
    "shutting down": "is just ending: try again in a minute",
    "closed": "ended or restarted while it was asked: try again",
    "connection lost": "ended or restarted while it was asked: try again",
    "terminating connection": "ended or restarted while it was asked: try again",
    "no such table": "lacks a table: it is no record store of firstcrank, or damaged",
}


# Not away but named wrongly: nothing waits for such a store.
WRONG = ("refuses the user", "has no such", "lacks a table", "is no record store")


def store_error(error: BaseException, place: Place) -> StoreError:
    """One line for an error of a database driver; a StoreAwayError unless the store is named wrongly."""
    cause = getattr(error, "orig", None) or error
    what = _what(cause, place)
    kind = StoreError if what.startswith(WRONG) else StoreAwayError
    return kind(f"the record store {place.shown} {what}")


def _what(cause: BaseException, place: Place) -> str:
    state = str(getattr(cause, "sqlstate", None) or "")
    for length in (5, 3, 2):
        if state and state[:length] in STATES:
            return STATES[state[:length]]
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", None)
        if code is not None and code & 0xFF in CODES:
            return CODES[code & 0xFF]
    text = str(cause).strip()
    for fragment, meaning in MESSAGES.items():
        if fragment in text.lower():
            return meaning
    first = place.without_secrets(text.splitlines()[0] if text else type(cause).__name__)
    return f"can't be used: {first}"


def translate(context: ExceptionContext, place: Place) -> None:
    """Listener of SQLAlchemy's handle_error: raises StoreError for what a driver says; a row that is refused stays as it is."""
    if isinstance(context.original_exception, StoreError) or isinstance(context.sqlalchemy_exception, IntegrityError):
        return
    if context.sqlalchemy_exception is not None:
        raise store_error(context.original_exception, place) from context.original_exception
