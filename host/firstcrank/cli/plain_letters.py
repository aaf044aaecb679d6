"""Text for a console that has no other letters than ASCII."""

from __future__ import annotations

PLAIN = {"±": "+/-", "µ": "u", "Ω": "ohm", "°": "deg ", "²": "2", "–": "-", "\u00a0": " "}


def in_plain_letters(text: str) -> str:
    """`text` in ASCII: the signs of units written out, what else there is as question marks."""
    for sign, plain in PLAIN.items():
        text = text.replace(sign, plain)
    return text.encode("ascii", "replace").decode("ascii")
