"""Vehicle identification numbers: 17 characters without I, O and Q (ISO 3779), with a check digit where North America asks.

The check digit (position 9) is required by 49 CFR 565 in North America only, so a mismatch is a warning.
"""

from __future__ import annotations

VALUES = {**{str(d): d for d in range(10)}, **dict(zip("ABCDEFGH", range(1, 9), strict=True))}
VALUES |= dict(zip("JKLMN", range(1, 6), strict=True)) | {"P": 7, "R": 9} | dict(zip("STUVWXYZ", range(2, 10), strict=True))
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def check_digit(vin: str) -> str:
    """The check digit that belongs to a 17-character VIN. Raises KeyError for a character no VIN has."""
    total = sum(VALUES[c] * w for c, w in zip(vin.upper(), WEIGHTS, strict=True))
    return "X" if total % 11 == 10 else str(total % 11)


def vin_warnings(vin: str) -> tuple[str, ...]:
    """Plain lines about a VIN that looks mistyped; empty where it looks right or is not given."""
    text = vin.strip().upper()
    if not text:
        return ()
    wrong = sorted({c for c in text if c not in VALUES})
    if wrong:
        return (f"a VIN has no {', '.join(wrong)}: 1 and 0 are easily mistaken for I and O",)
    if len(text) != 17:
        return (f"a VIN has 17 characters, this one has {len(text)} (vehicles before 1981 may differ)",)
    wanted = check_digit(text)
    if text[8] != wanted:
        return (
            f"the check digit (9th character) is {text[8]} and would be {wanted}: mistyped, or not a North American vehicle",
        )
    return ()
