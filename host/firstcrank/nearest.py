"""The names that somebody may have meant who typed one that there is not."""

from __future__ import annotations

from collections.abc import Collection

MOST, ALIKE = 3, 0.55


def did_you_mean(typed: str, names: Collection[str], most: int = MOST) -> str:
    """ ". Did you mean A or B?" by the nearest of `names`, those that hold what was typed first; empty where none is near."""
    wanted = typed.strip().lower()
    near = [name for name in names if len(wanted) > 1 and wanted in name.lower()]
    if not near:
        from difflib import get_close_matches

        near = get_close_matches(wanted, list(names), n=most, cutoff=ALIKE)
    return f". Did you mean {' or '.join(near[:most])}?" if near else ""
