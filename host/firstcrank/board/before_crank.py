"""What a board says of itself that a person must hear before the key is turned, not after."""

from __future__ import annotations

from collections.abc import Mapping


def warnings_of(identity: Mapping[str, object]) -> tuple[str, ...]:
    """One line each, empty for a board with nothing to tell. identity: as IDENTITY carries it (docs/wire_format.md)."""
    lines = []
    if identity.get("short_of_memory"):
        lines.append(
            f"This board is too short of memory for its fast acquisition ({identity['short_of_memory']}): it can miss short dropouts, and "
            "the verdict may be NO VERDICT. Remove other programs from it, or use a board with more memory."
        )
    if identity.get("error"):
        lines.append(f"The board's program had ended with an error before ({identity['error']}): firstcrank board check")
    return tuple(lines)
