"""Kinds of link by scheme: `sim:NAME` and whatever an installed package adds under the entry point group `firstcrank.links`.

An entry point's name is the scheme, its object a `LinkOpener`. A link carries bytes and nothing else: what is installed beside
this program can bring a board from elsewhere, never change how a recording is judged.
"""

from __future__ import annotations

import re
from typing import Protocol

from firstcrank.errors import UsageError
from firstcrank.extras import extra_packages
from firstcrank.link.base import Link

GROUP = "firstcrank.links"
EARLIER_NAMES = {"bench": "sim"}  # scheme names of earlier versions, still accepted
# Two letters or more, so that a Windows drive is none; "//" behind it makes a pyserial URL (socket://, rfc2217://).
SCHEME = re.compile(r"([a-z][a-z0-9_-]+):(?!//)(.*)", re.DOTALL)


class LinkOpener(Protocol):
    """Opens a link from what stands behind the scheme's colon."""

    def __call__(self, text: str) -> Link:
        """Raises UsageError where `text` cannot be read, NoBoardError where nothing answers."""
        ...


def open_by_scheme(port: str) -> Link | None:
    """The link that `port` names by scheme, or None for a serial port. Raises UsageError, MissingExtraError."""
    match = SCHEME.fullmatch(port)
    if match is None:
        return None
    scheme = EARLIER_NAMES.get(match[1], match[1])
    opener = find_opener(scheme)
    return None if opener is None else opener(match[2])


def find_opener(scheme: str) -> LinkOpener | None:
    """The opener registered for a scheme, or None. Raises UsageError where two packages claim it."""
    from importlib.metadata import entry_points

    found = {point.value: point for point in entry_points(group=GROUP, name=scheme)}
    if not found:
        return None
    if len(found) > 1:
        raise UsageError(f"{scheme}: is claimed by {' and '.join(sorted(found))}: uninstall one of the packages")
    (point,) = found.values()
    with extra_packages("sim"):
        opener: LinkOpener = point.load()
    return opener
