"""Text as a search compares it: without case and marks, the same in every database because it is folded here.

Casefold and NFKD (Unicode Standard, sections 3.13 and 3.11; ß becomes ss); marks are dropped. A letter that people also write as
two is kept both ways: `Häcksler` is found as `hacksler` and as `haecksler`.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

# Common practice where a keyboard lacks the letter: DIN 5007-2 sorts ä as ae; Danish and Norwegian write ø as oe, å as aa.
AS_TWO = {"ä": "ae", "ö": "oe", "ü": "ue", "ø": "oe", "å": "aa", "æ": "ae", "œ": "oe", "þ": "th"}
AS_ONE = {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "ı": "i"}  # NFKD leaves these whole
ONE, TWO = str.maketrans(AS_ONE), str.maketrans(AS_TWO)
SHORTEST_JOINED = 4  # signs of a number without its dashes, from which it is searched as one


def _plain(text: str) -> str:
    parts = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    return "".join(c for c in parts if unicodedata.category(c) not in ("Mn", "Cc", "Cf", "Cs")).translate(ONE)


def folded(word: str) -> tuple[str, ...]:
    """The ways a word is compared, one or two, never empty strings; none for a word of marks alone."""
    composed = unicodedata.normalize("NFC", word).casefold()
    ways = (_plain(composed), _plain(composed.translate(TWO)))
    return tuple(dict.fromkeys(way for way in ways if way))


def joined(text: str) -> str:
    """Letters and digits alone: a phone number, a plate, a VIN without spaces and dashes. Empty where it is short."""
    plain = "".join(c for c in _plain(text) if c.isalnum())
    return plain if len(plain) >= SHORTEST_JOINED else ""


def search_text(texts: Iterable[str], numbers: Iterable[str] = ()) -> str:
    """Each word once, in every way that it is compared, sorted, between spaces; `numbers` also without their spaces and dashes."""
    tokens: set[str] = set()
    numbers = tuple(numbers)
    for text in (*texts, *numbers):
        for word in text.split():
            tokens.update(folded(word))
    tokens.update(filter(None, map(joined, numbers)))
    return " ".join(sorted(tokens))


def ways_of(word: str) -> tuple[str, ...]:
    """The texts of which one must be in a search text for the word to be found."""
    return tuple(dict.fromkeys((*folded(word), *filter(None, (joined(word),)))))
