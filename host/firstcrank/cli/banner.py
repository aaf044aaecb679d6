"""The verdict in letters that can be read from the other side of the engine bay."""

from __future__ import annotations

# Five rows a letter, written as they look.
LETTERS: dict[str, tuple[str, ...]] = {
    "A": (" ### ", "#   #", "#####", "#   #", "#   #"),
    "C": (" ####", "#    ", "#    ", "#    ", " ####"),
    "D": ("#### ", "#   #", "#   #", "#   #", "#### "),
    "E": ("#####", "#    ", "#### ", "#    ", "#####"),
    "F": ("#####", "#    ", "#### ", "#    ", "#    "),
    "G": (" ####", "#    ", "#  ##", "#   #", " ####"),
    "H": ("#   #", "#   #", "#####", "#   #", "#   #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "K": ("#   #", "#  # ", "###  ", "#  # ", "#   #"),
    "L": ("#    ", "#    ", "#    ", "#    ", "#####"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": (" ### ", "#   #", "#   #", "#   #", " ### "),
    "P": ("#### ", "#   #", "#### ", "#    ", "#    "),
    "R": ("#### ", "#   #", "#### ", "#  # ", "#   #"),
    "S": (" ####", "#    ", " ### ", "    #", "#### "),
    "T": ("#####", "  #  ", "  #  ", "  #  ", "  #  "),
    "U": ("#   #", "#   #", "#   #", "#   #", " ### "),
    "V": ("#   #", "#   #", "#   #", " # # ", "  #  "),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "Y": ("#   #", " # # ", "  #  ", "  #  ", "  #  "),
    "0": (" ### ", "#  ##", "# # #", "##  #", " ### "),
    "1": ("  #  ", " ##  ", "  #  ", "  #  ", " ### "),
    "2": ("#### ", "    #", " ### ", "#    ", "#####"),
    "3": ("#### ", "    #", " ### ", "    #", "#### "),
    "4": ("#  # ", "#  # ", "#####", "   # ", "   # "),
    "5": ("#####", "#    ", "#### ", "    #", "#### "),
    "6": (" ### ", "#    ", "#### ", "#   #", " ### "),
    "7": ("#####", "    #", "   # ", "  #  ", "  #  "),
    "8": (" ### ", "#   #", " ### ", "#   #", " ### "),
    "9": (" ### ", "#   #", " ####", "    #", " ### "),
    ".": ("  ", "  ", "  ", "  ", "# "),
    " ": ("  ", "  ", "  ", "  ", "  "),
}


def banner(word: str, ascii_only: bool = False) -> list[str]:
    """Five lines of equal length. Raises KeyError for a letter that no verdict and no word of the screen has."""
    rows = ["  ".join(LETTERS[letter][row] for letter in word) for row in range(5)]
    return rows if ascii_only else [row.replace("#", "█") for row in rows]


HALVES = {"  ": " ", "# ": "▀", " #": "▄", "##": "█"}


def half_height(rows: list[str]) -> list[str]:
    """Five rows of `#` in three, two rows to a character, for a screen with block characters."""
    padded = [*rows, " " * len(rows[0])]
    return ["".join(HALVES[a + b] for a, b in zip(padded[i], padded[i + 1], strict=True)) for i in range(0, 6, 2)]


def fitted(text: str, width: int) -> list[str] | None:
    """`text` broken between words into lines whose banners are at most `width` wide; None where a word is wider."""
    lines: list[str] = []
    for word in text.split():
        if len(banner(word)[0]) > width:
            return None
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and len(banner(longer)[0]) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
