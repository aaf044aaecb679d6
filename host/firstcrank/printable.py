"""Text from a board, a file, a job or a name on the disk, made safe to show: what would steer a terminal is shown as a sign.

One place for the rule: everything that reaches a screen goes through cli/screen.py, which uses it; texts of the report too.
"""

from __future__ import annotations

import unicodedata

SIGNS = {code: chr(0x2400 + code) for code in range(0x20)} | {0x7F: "\u2421"}  # Unicode's pictures of the control characters
UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")  # control, format (order of writing, no width), lone surrogate, separators of lines
HARMLESS = "\u00ad\u200c\u200d"  # a soft hyphen; joiners that some scripts need to be legible


def printable(text: str) -> str:
    """`text` on one line with every control and format character replaced by a visible sign; nothing else is changed."""
    if text.isprintable():
        return text
    return "".join(_sign(letter) for letter in text)


def storable(text: str) -> str:
    """`text` with what UTF-8 cannot hold (bytes of a name in another encoding) as question marks."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _sign(letter: str) -> str:
    if letter.isprintable() or letter in HARMLESS:
        return letter
    sign = SIGNS.get(ord(letter))
    if sign is not None:
        return sign
    return "\ufffd" if unicodedata.category(letter) in UNSEEN else letter
