"""What has been changed on purpose since the golden files were made. Everything that is not written here must stay.

A row is written in the same commit as the change that makes it needed, and says why the new verdict is the right one.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Change:
    """The verdict that is right now and why it is; `cause` is the first likely cause now, None where there is none."""

    verdict: str
    cause: str | None
    why: str


# Case of expected.json -> what is right now.
VERDICTS: dict[str, Change] = {}

# Word of an old file (a lead's role, a cause, a limit) -> the word that the program has for it now.
RENAMED: dict[str, str] = {}
